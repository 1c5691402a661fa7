"""Numbers as registers by pymodbus, and by struct for the byte orders that pymodbus does not know."""

import json
import struct

from pymodbus.client.mixin import ModbusClientMixin

TYPES = ModbusClientMixin.DATATYPE
CASES = {
    "U16": (TYPES.UINT16, [0, 1, 0x1234, 65535]),
    "I16": (TYPES.INT16, [0, -1, 0x1234, -32768, 32767]),
    "U32": (TYPES.UINT32, [0, 1, 0x12345678, 4294967295]),
    "I32": (TYPES.INT32, [-1, 0x12345678, -2147483648, 2147483647]),
    "U64": (TYPES.UINT64, [1, 0x0012345678ABCDEF, 2**53]),
    "I64": (TYPES.INT64, [-1, 0x0012345678ABCDEF, -(2**53)]),
    "F32": (TYPES.FLOAT32, [0.0, 1.5, -20123.625, 3.4028234663852886e38, 1.401298464324817e-45]),
    "F64": (TYPES.FLOAT64, [0.1, -20123.625, 1.7976931348623157e308, 5e-324]),
}


def bytes_swapped(registers):
    return [int.from_bytes(r.to_bytes(2, "big"), "little") for r in registers]


def orders(number, kind):
    abcd = ModbusClientMixin.convert_to_registers(number, kind, word_order="big")
    cdab = ModbusClientMixin.convert_to_registers(number, kind, word_order="little")
    little = struct.pack("<" + kind.value[0], number)
    dcba = list(struct.unpack(f">{len(little) // 2}H", little))
    return {"Abcd": abcd, "Cdab": cdab, "Badc": bytes_swapped(abcd), "Dcba": dcba}


print(
    json.dumps(
        [
            {"data": data, "order": order, "words": words, "number": float(number)}
            for data, (kind, numbers) in CASES.items()
            for number in numbers
            for order, words in orders(number, kind).items()
        ]
    )
)
