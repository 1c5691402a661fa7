"""CRCs by pymodbus, as sent (low byte first): of each argument, bytes in hexadecimal."""

import sys

from pymodbus.framer.rtu import FramerRTU

for argument in sys.argv[1:]:
    print(f"{FramerRTU.compute_CRC(bytes.fromhex(argument)):04X}")
