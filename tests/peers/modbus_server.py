"""A Modbus server with known registers, by pymodbus, as the other end of the tests.

Prints one line of JSON: its port and, of unit 1, every value with its type, word order, byte order, table and address.
Serves until its standard input is closed.

Units: 1 every type in every order; 2 answers after --delay seconds; 3 always fails with exception 4; 4 a meter with
scale registers and values that are not available; 5 a meter that writes floats with the least significant word first;
6 a three-phase meter with a reversed current transformer; any other is silent, or with --gateway refused with exception 0x0B.
"""

import argparse
import asyncio
import json
import math
import sys

from pymodbus.client.mixin import ModbusClientMixin
from pymodbus.constants import ExcCodes
from pymodbus.framer import FramerType
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

TYPES = ModbusClientMixin.DATATYPE
VALUES = [
    ("u16", TYPES.UINT16, [0, 1, 54321, 65535]),
    ("i16", TYPES.INT16, [-32768, -12345, -1, 32767]),
    ("u32", TYPES.UINT32, [1, 3000000001, 4294967295]),
    ("i32", TYPES.INT32, [-2147483648, -2000000001, 2147483647]),
    ("u64", TYPES.UINT64, [1, 9000000000000000001, 9223372036854775807]),
    ("i64", TYPES.INT64, [-9223372036854775808, -9000000000000000001, 9223372036854775807]),
    ("f32", TYPES.FLOAT32, [0.0, -1.5, 230.25, 16777216.0]),
    ("f64", TYPES.FLOAT64, [-0.5, 123456.789, 98765432109.875]),
]


def registers(value, kind, words="big", low_byte_first=False):
    """The registers of a value as pymodbus writes them; bytes swapped where the device does so."""
    written = ModbusClientMixin.convert_to_registers(value, kind, word_order=words)
    return [(w & 0xFF) << 8 | w >> 8 for w in written] if low_byte_first else written


def every_type_in_every_order():
    """The values of unit 1, and its holding and input registers."""
    told, tables = [], {"holding": [], "input": []}
    for name, kind, values in VALUES:
        for words in ("big", "little"):
            for low_byte_first in (False, True):
                table = "input" if low_byte_first else "holding"
                for value in values:
                    told.append({"type": name, "words": words, "bytes": "little" if low_byte_first else "big",
                                 "table": table, "address": len(tables[table]), "value": value})
                    tables[table] += registers(value, kind, words, low_byte_first)
    return told, tables


def device(unit, holding, inputs, action=None):
    """A device with the given (address, registers) in its two tables and nothing else."""
    def blocks(parts):
        return [SimData(address, values=list(words), datatype=DataType.REGISTERS) for address, words in parts]
    bits = [SimData(0, values=[False] * 16, datatype=DataType.BITS)]
    return SimDevice(unit, simdata=(bits, list(bits), blocks(holding), blocks(inputs)), action=action)


def reversed_l2():
    """Three phases of 230 V, 12 A and power factor 0.94; the transformer of phase 2 points the wrong way.

    0: V in 0.1 V; 3: A in 10 mA; 6: W; 9: power factor in thousandths; 12: total W; 13: import in Wh."""
    watts = [2594, 0x10000 - 2594, 2594]
    factors = [940, 0x10000 - 940, 940]
    return [2300] * 3 + [1200] * 3 + watts + factors + [2594] + registers(123456, TYPES.UINT32)


async def main():
    """Serves."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--rtu", action="store_true", help="RTU frames inside TCP")
    arguments.add_argument("--gateway", action="store_true", help="exception 0x0B for a unit that is not there")
    arguments.add_argument("--delay", type=float, default=0.4, help="seconds until unit 2 answers")
    arguments = arguments.parse_args()

    async def slow(*_):
        await asyncio.sleep(arguments.delay)

    async def failing(*_):
        return ExcCodes.DEVICE_FAILURE

    async def absent_unit(*_):
        if not arguments.gateway:
            await asyncio.Event().wait()
        return ExcCodes.GATEWAY_NO_RESPONSE

    told, tables = every_type_in_every_order()
    absent = [0x8000]
    floats = sum((registers(v, TYPES.FLOAT32, "little") for v in (231.5, 4.25, 0.98, math.nan)), [])
    devices = [
        # Unit 0 stands for every unit that is not defined.
        device(0, [(0, [0])], [(0, [0])], absent_unit),
        device(1, [(0, tables["holding"])], [(0, tables["input"])]),
        device(2, [(0, [7])], [(0, [7, 8, 9])], slow),
        device(3, [(0, [7])], [(0, [7])], failing),
        # 0: import 123456 x 10^2; 2: power -1234 x 10^-1; 3: voltage not available; 4: current with an absent scale.
        device(4, [(0, registers(123456, TYPES.UINT32) + [0x10000 - 1234] + absent + [42]),
                   (10, [2, 0x10000 - 1, 0] + absent)], [(0, [0])]),
        device(5, [(0, [0])], [(0, floats)]),
        device(6, [(0, reversed_l2())], [(0, [0])]),
    ]
    server = ModbusTcpServer(
        devices,
        framer=FramerType.RTU if arguments.rtu else FramerType.SOCKET,
        address=("127.0.0.1", 0),
    )
    await server.serve_forever(background=True)
    port = server.transport.sockets[0].getsockname()[1]
    print(json.dumps({"port": port, "values": told}), flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    await server.shutdown()


asyncio.run(main())
