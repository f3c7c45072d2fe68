"""A serial cable of two pairs of pseudo-terminals, which sends characters no faster than its rate and, where asked to, delivers
every tenth answer late, cut or doubled.

Arguments: bits a second (8E1, as a line with 11 bits a character), "fair" or "bad", requests until it says "done", and, for a cable
whose far end answers by itself, "echo". Says the master's device and the far device, a line each, at first."""

import asyncio
import os
import pty
import sys
import tty

REQUEST = 8
BITS = 11


def pair():
    """Our end and the path of the other, which stays open here: a pair whose far end closed once is of no more use."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    os.set_blocking(ours, False)
    return ours, theirs, os.ttyname(theirs)


class Cable:
    """Hands on whole frames, each when its last character would have arrived."""

    def __init__(self, baud, bad, most, echo):
        self.loop = asyncio.get_running_loop()
        self.near, self.near_far, self.near_path = pair()
        self.far, self.far_far, self.far_path = pair()
        self.baud, self.bad, self.most, self.echo = baud, bad, most, echo
        self.asked, self.answered = bytearray(), bytearray()
        self.requests = self.answers = 0
        self.free = self.loop.time()
        self.loop.add_reader(self.near, self.request)
        self.loop.add_reader(self.far, self.answer)

    def takes(self, frame):
        """Seconds that a frame takes on the line."""
        return len(frame) * BITS / self.baud

    def after(self, seconds, to, frame):
        """Delivers a frame."""
        self.loop.call_later(seconds, os.write, to, bytes(frame))

    def request(self):
        """Reads what the master sends: requests of eight characters."""
        self.asked += os.read(self.near, 4096)
        while len(self.asked) >= REQUEST:
            frame, self.asked = self.asked[:REQUEST], self.asked[REQUEST:]
            self.requests += 1
            if self.requests == self.most:
                print("done", flush=True)
            if self.echo:
                answer = bytes([frame[0], frame[1], 2 * frame[5]]) + bytes(2 * frame[5])
                self.deliver(answer + checksum(answer), self.takes(frame))
            else:
                self.after(self.takes(frame), self.far, frame)

    def answer(self):
        """Reads what the far end sends: answers to function 3, and refusals."""
        self.answered += os.read(self.far, 4096)
        while len(self.answered) >= 5:
            length = 5 if self.answered[1] & 0x80 else 5 + self.answered[2]
            if len(self.answered) < length:
                return
            frame, self.answered = self.answered[:length], self.answered[length:]
            self.deliver(frame, 0)

    def deliver(self, frame, wait):
        """Hands an answer on, or what is left of it."""
        self.answers += 1
        turn = self.answers % 40 if self.bad else 0
        if turn == 7:
            wait += 0.070 + self.answers % 5 * 0.040
        elif turn == 17:
            frame = frame[: self.answers // 40 % len(frame)]
        elif turn == 27:
            frame = frame + frame
        elif turn == 37:
            wait += 0.600
        # One line carries one character after another: what comes late holds up what follows.
        now = self.loop.time()
        self.free = max(now + wait, self.free) + self.takes(frame)
        self.after(self.free - now, self.near, frame)


def checksum(frame):
    """The check sum of a frame (Modbus over serial line V1.02, section 6.2.2)."""
    crc = 0xFFFF
    for byte in frame:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc.to_bytes(2, "little")


async def main():
    """Serves until it is killed."""
    baud, kind, most = int(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    cable = Cable(baud, kind == "bad", most, sys.argv[4:] == ["echo"])
    print(cable.near_path, cable.far_path, sep="\n", flush=True)
    await asyncio.Event().wait()


asyncio.run(main())
