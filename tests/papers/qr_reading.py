"""Reads a QR code back from its modules (ISO/IEC 18004, versions 1 to 6, bytes), with another library's tables and its
Reed-Solomon code: what is read is right to the last codeword, or an assertion says where it is not."""

from qrcode import QRCode
from qrcode.base import rs_blocks
from qrcode.util import BitBuffer, create_bytes, mask_func, pattern_position

LEVELS = {
    0b01: "l",
    0b00: "m",
    0b11: "q",
    0b10: "h",
}  # the two bits of the format information, as the library counts them


def read(matrix: list[list[bool]]) -> tuple[str, str]:
    """Return the text and the error correction level of a code without its quiet zone."""
    side = len(matrix)
    version = (side - 17) // 4
    level, mask = _format(matrix)
    fixed = _fixed(side, version)
    _check_fixed(matrix, version, level, mask, fixed)
    blocks = rs_blocks(version, level)
    words = _codewords(matrix, mask, fixed)[: sum(block.total_count for block in blocks)]
    data = _data(words, [block.data_count for block in blocks])
    buffer = BitBuffer()
    for word in data:
        buffer.put(word, 8)
    assert list(create_bytes(buffer, blocks)) == words, "the error correction does not belong to the data"
    bits = "".join(f"{word:08b}" for word in data)
    assert bits[:4] == "0100", "not in byte mode"
    length = int(bits[4:12], 2)
    body = bytes(int(bits[12 + 8 * n : 20 + 8 * n], 2) for n in range(length))
    assert bits[12 + 8 * length : 16 + 8 * length] in {"0000", ""}, "no terminator"
    return body.decode(), LEVELS[level]


def _format(matrix: list[list[bool]]) -> tuple[int, int]:
    bits = int("".join(str(int(cell)) for cell in matrix[8][:5]), 2) ^ 0b10101
    return bits >> 3, bits & 7


def _fixed(side: int, version: int) -> set[tuple[int, int]]:
    """Finders with their format information, timing and alignment patterns: everything that is no data."""
    cells = {(row, col) for row in range(side) for col in range(side) if 6 in (row, col)}
    cells |= {
        (row, col)
        for row in range(side) for col in range(side)
        if (row < 9 and col < 9) or (row < 9 and col >= side - 8) or (row >= side - 8 and col < 9)
    }  # fmt: skip
    middles = pattern_position(version)
    for row in middles:
        for col in middles:
            if (row, col) not in {(6, 6), (6, middles[-1]), (middles[-1], 6)}:
                cells |= {(row + down, col + right) for down in range(-2, 3) for right in range(-2, 3)}
    return cells


def _check_fixed(
    matrix: list[list[bool]], version: int, level: int, mask: int, fixed: set[tuple[int, int]]
) -> None:  # fmt: skip
    """Every pattern that is no data stands as the other library draws it under the same version, level and mask."""
    other = QRCode(version=version, error_correction=level, border=0, mask_pattern=mask)
    other.add_data(b"x")
    other.make(fit=False)
    assert all(matrix[row][col] == bool(other.modules[row][col]) for row, col in fixed), "a pattern is out of place"


def _codewords(matrix: list[list[bool]], mask: int, fixed: set[tuple[int, int]]) -> list[int]:
    """The codewords in the order in which they wind up and down through the square, unmasked."""
    side, turned, bits, up = len(matrix), mask_func(mask), "", True
    for right in [*range(side - 1, 6, -2), *range(5, 0, -2)]:
        for row in range(side - 1, -1, -1) if up else range(side):
            for col in (right, right - 1):
                if (row, col) not in fixed:
                    bits += str(int(matrix[row][col] != turned(row, col)))
        up = not up
    return [int(bits[at : at + 8], 2) for at in range(0, len(bits) - 7, 8)]


def _data(words: list[int], counts: list[int]) -> list[int]:
    """The data of all blocks, one after the other: they stand interleaved."""
    blocks: list[list[int]] = [[] for _ in counts]
    rest = iter(words)
    for place in range(max(counts)):
        for block, count in zip(blocks, counts, strict=True):
            if place < count:
                block.append(next(rest))
    return [word for block in blocks for word in block]
