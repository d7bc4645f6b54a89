"""Small changes of whole files, the kind that a slip, a bad disk or a stranger makes."""

import random

TOKENS = (
    b'"', b"'", b'"""', b"[", b"]", b"[[", b"{", b"}", b"=", b".", b",", b"#", b"\n", b"\r", b"\t",
    b"-", b"+", b"1e999", b"-1", b"0", b"nan", b"inf", b"true", b"1979-05-27", b"0x10", b"1_000",
    b"\xff", b"\x00", b"\xe2\x80\xa8", b"\xef\xbb\xbf", b"\xce\xa9", b"\xc2\xb5", b"uF", b"kohm",
    b"us", b"%", b"degC", b".control", b"*#", b"`x`", b"$(x)", b"../", b"source", b"value",
    b"tolerance", b"note", b"empty", b"kind", b"1" * 400, b"a." * 30, b"[" * 30,
)  # fmt: skip


def mutated(content: bytes, rng: random.Random, changes: int = 3) -> bytes:
    """Some content after one to `changes` changes."""
    for _ in range(rng.randint(1, changes)):
        content = rng.choice(WAYS)(content, rng)
    return content


def _span(content: bytes, rng: random.Random) -> tuple[int, int]:
    start = rng.randint(0, len(content))
    return start, min(len(content), start + rng.choice((1, 2, 5, 20, 200)))


def _cut(content: bytes, rng: random.Random) -> bytes:
    start, end = _span(content, rng)
    return content[:start] + content[end:]


def _put(content: bytes, rng: random.Random) -> bytes:
    start, end = _span(content, rng)
    return content[:start] + rng.choice(TOKENS) + content[rng.choice((start, end)) :]


def _flip(content: bytes, rng: random.Random) -> bytes:
    if not content:
        return content
    at = rng.randrange(len(content))
    return content[:at] + bytes([content[at] ^ (1 << rng.randrange(8))]) + content[at + 1 :]


def _double(content: bytes, rng: random.Random) -> bytes:
    lines = content.split(b"\n")
    at = rng.randrange(len(lines))
    return b"\n".join([*lines[: at + 1], lines[rng.randrange(len(lines))], *lines[at + 1 :]])


def _drop(content: bytes, rng: random.Random) -> bytes:
    lines = content.split(b"\n")
    del lines[rng.randrange(len(lines))]
    return b"\n".join(lines)


def _number(content: bytes, rng: random.Random) -> bytes:
    digits = [k for k, c in enumerate(content) if chr(c).isdigit()]
    if not digits:
        return content
    at = rng.choice(digits)
    return content[:at] + rng.choice((b"0", b"-", b"9" * 9, b".", b"e9", b"")) + content[at + 1 :]


WAYS = (_cut, _put, _flip, _double, _drop, _number)
