"""The frame a second time, straight from the papers, slow and plain: what the fast one is checked against."""


def fcs16(data):
    """RFC 1662 appendix C, without its table: reflected polynomial 0x8408, complemented at both ends."""
    fcs = 0xFFFF
    for byte in data:
        fcs ^= byte
        for _ in range(8):
            fcs = (fcs >> 1) ^ 0x8408 if fcs & 1 else fcs >> 1
    return fcs ^ 0xFFFF


def stuffed(data):
    """Consistent overhead byte stuffing (Cheshire and Baker 1999): each block says how far the next zero is."""
    out = b""
    blocks = data.split(b"\0")
    for i, block in enumerate(blocks):
        while len(block) >= 254:
            out += b"\xff" + block[:254]
            block = block[254:]
            if not block and i == len(blocks) - 1:
                return out
        out += bytes([len(block) + 1]) + block
    return out


def frame(body):
    return stuffed(body + fcs16(body).to_bytes(2, "little")) + b"\0"
