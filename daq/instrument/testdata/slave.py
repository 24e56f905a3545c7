"""A Modbus RTU slave by pymodbus, for the tests of the master.

Usage: slave.py DEVICE BAUD, with a JSON description on standard input:
{"ADDRESS": {"input": [...], "holding": [...], "discrete": [...], "coil": [...]}}
Each list holds {"at": register, "type": ..., "words": ..., "bytes": ..., "value": ...}.
Numbers are packed here, by struct, so that they are independent of the master.
"""
import json
import struct
import sys

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.server import StartSerialServer
from pymodbus.transaction import ModbusRtuFramer

FORMATS = {"uint16": ">H", "int16": ">h", "uint32": ">I", "int32": ">i",
           "float32": ">f", "uint64": ">Q", "float64": ">d"}


def registers(item):
    raw = struct.pack(FORMATS[item["type"]], item["value"])
    words = [raw[i:i + 2] for i in range(0, len(raw), 2)]
    if item.get("words") == "little":
        words.reverse()
    if item.get("bytes") == "swapped":
        words = [w[::-1] for w in words]
    return [struct.unpack(">H", w)[0] for w in words]


def table(items, bits):
    cells = [0] * 200
    for item in items:
        values = [int(item["value"])] if bits else registers(item)
        cells[item["at"]:item["at"] + len(values)] = values
    return ModbusSequentialDataBlock(0, cells)


def slave(tables):
    return ModbusSlaveContext(
        di=table(tables.get("discrete", []), True), co=table(tables.get("coil", []), True),
        hr=table(tables.get("holding", []), False), ir=table(tables.get("input", []), False),
        zero_mode=True)


def main():
    slaves = {int(address): slave(tables) for address, tables in json.load(sys.stdin).items()}
    context = ModbusServerContext(slaves=slaves, single=False)
    StartSerialServer(context=context, framer=ModbusRtuFramer, port=sys.argv[1],
                      baudrate=int(sys.argv[2]), timeout=0.005, ignore_missing_slaves=True)


if __name__ == "__main__":
    main()
