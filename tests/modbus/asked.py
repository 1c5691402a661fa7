"""Who was asked for which function, whatever became of it: read off the bytes that came in."""

import struct


class Asked:
    def __init__(self):
        self.requests = []  # unit, function, first address and count
        self.rests = []  # of each way, bytes that make no whole request yet

    def watcher(self, is_rtu):
        """For pymodbus' trace_packet."""
        rest = bytearray()
        self.rests.append(rest)

        def watch(sending, data):
            if sending:
                return data
            rest.extend(data)
            while len(rest) >= 8:
                # RTU: unit, function, address, count, CRC: every reading request is of 8 bytes. MBAP: transaction,
                # protocol, length from here on, unit; then the function.
                length = 8 if is_rtu else 6 + int.from_bytes(rest[4:6], "big")
                if len(rest) < length:
                    break
                self.requests.append(struct.unpack(">BBHH", rest[0:6] if is_rtu else rest[6:12]))
                del rest[:length]
            return data

        return watch

    def told(self):
        asked = [request[:2] for request in self.requests]
        return {"asked": asked, "whole": self.requests, "left": sum(len(rest) for rest in self.rests)}
