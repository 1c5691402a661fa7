"""Numbers as registers by pymodbus, and by struct for what it does not know: bytes swapped within a register.

Modbus Application Protocol V1.1b3 gives registers big-endian; how devices chain them to longer values is their makers'
custom: ABCD, CDAB, BADC, DCBA, most significant byte A.
"""

import struct

from pymodbus.client.mixin import ModbusClientMixin

_TYPES = ModbusClientMixin.DATATYPE
# pymodbus has no BCD: digits that are read as hexadecimal digits make the unsigned number of the same length.
TYPES = {
    "U16": _TYPES.UINT16,
    "I16": _TYPES.INT16,
    "U32": _TYPES.UINT32,
    "I32": _TYPES.INT32,
    "U64": _TYPES.UINT64,
    "I64": _TYPES.INT64,
    "F32": _TYPES.FLOAT32,
    "F64": _TYPES.FLOAT64,
    "Bcd16": _TYPES.UINT16,
    "Bcd32": _TYPES.UINT32,
    "Bcd64": _TYPES.UINT64,
    "Bool": _TYPES.UINT16,
}
ORDERS = ("ABCD", "CDAB", "BADC", "DCBA")


def registers(data, order, number):
    """Registers of one value."""
    if data.startswith("Bcd"):
        number = int(str(number), 16)
    word_order = "big" if order in ("ABCD", "BADC") else "little"
    words = ModbusClientMixin.convert_to_registers(number, TYPES[data], word_order=word_order)
    if order in ("BADC", "DCBA"):
        words = list(struct.unpack(f"<{len(words)}H", struct.pack(f">{len(words)}H", *words)))
    return words


def as_sent(data, number):
    """The number that the registers carry: a single cannot hold every double."""
    if data.startswith("Bcd"):
        return float(number)
    return float(ModbusClientMixin.convert_from_registers(registers(data, "ABCD", number), TYPES[data]))
