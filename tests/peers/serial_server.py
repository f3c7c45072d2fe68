"""A Modbus RTU server on a serial device, by pymodbus: units 1 to 8, whose holding register at each address holds a value that
follows from unit and address. Says "serving" and serves until it is killed."""

import asyncio
import sys

from pymodbus.framer import FramerType
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice


def device(unit):
    """A unit with 100 registers."""
    values = [(address * 31 + unit * 1009) % 65536 for address in range(100)]
    holding = [SimData(0, values=values, datatype=DataType.REGISTERS)]
    inputs = [SimData(0, values=[0], datatype=DataType.REGISTERS)]
    bits = [SimData(0, values=[False] * 16, datatype=DataType.BITS)]
    return SimDevice(unit, simdata=(bits, list(bits), holding, inputs))


async def main():
    """Serves."""
    server = ModbusSerialServer(
        [device(unit) for unit in range(1, 9)],
        framer=FramerType.RTU,
        port=sys.argv[1],
        baudrate=19200,
        bytesize=8,
        parity="N",
        stopbits=1,
    )
    await server.serve_forever(background=True)
    print("serving", flush=True)
    await asyncio.Event().wait()


asyncio.run(main())
