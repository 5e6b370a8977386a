"""Damage to the package of a workbook: its bytes, its parts and how they belong together."""

from __future__ import annotations

import random
import re
import struct
import zlib
from collections.abc import Sequence

from tests.sound_job import BOOK, OWN, RELATIONS, STYLES, TEXTS, chosen_part, fresh, packed, sound_parts


def _mangled(data: bytes, chance: random.Random, pieces: Sequence[bytes]) -> bytes:
    changed = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(changed) + 1)
        change = chance.randrange(4)
        if change == 0 and at < len(changed):
            changed[at] ^= 1 << chance.randrange(8)
        elif change == 1:
            changed[at:at] = chance.choice(pieces)
        elif change == 2:
            del changed[at : at + chance.randint(1, 40)]
        else:
            start = chance.randrange(len(changed))
            changed[at:at] = changed[start : start + chance.randint(1, 200)]
    return bytes(changed)


def container_bytes(_: int, chance: random.Random) -> bytes:
    data = packed(sound_parts())
    if chance.random() < 0.5:
        return _mangled(data, chance, [b"PK\x01\x02", b"PK\x05\x06", b"\0" * 30, b"\xff" * 4])
    # The directory at the end decides what is read, and is hit too seldom otherwise.
    directory = data.index(b"PK\x01\x02")
    return data[:directory] + _mangled(data[directory:], chance, [b"\xff" * 4, b"\0", b"PK\x05\x06"])


def cut_short(nth: int, chance: random.Random) -> bytes:
    data = packed(sound_parts())
    ends = (0, 1, 3, 4, 21, 22, 30, len(data) - 1, len(data) - 21, len(data) - 22, len(data) - 23)
    return data[: ends[nth] if nth < len(ends) else chance.randrange(len(data))]


def part_bytes(_: int, chance: random.Random) -> bytes:
    parts = fresh()
    for _ in range(chance.choice((1, 1, 1, 2, 5))):
        victim = chosen_part(chance)
        pieces = [
            b"<",
            b">",
            b'"',
            b"9",
            b"]]>",
            b"&",
            b"&amp;",
            b"\0",
            b"\xff",
            b"-",
            b"E9",
            b"/>",
            b"#REF!",
        ]
        parts[victim] = _mangled(parts[victim], chance, pieces)
    return packed(parts)


def broken_xml(nth: int, chance: random.Random) -> bytes:
    parts = fresh()
    victim = chosen_part(chance)
    xml = parts[victim]
    tags = list(re.finditer(rb"<[^>]+>", xml))
    one, other = (chance.choice(tags).span() for _ in range(2))
    first, second = min(one, other), max(one, other)
    broken = (
        xml[: one[0]] + xml[one[1] :],  # a tag less
        xml[: one[1]] + xml[one[0] :],  # a tag twice
        xml[: first[0]] + xml[second[0] :],  # all between two tags gone
        xml[: second[1]] + xml[first[0] :],  # all between two tags twice
        xml[: first[1]] + xml[second[1] :],
        xml[: one[1]],  # ends early
        xml + xml,
        b"",
        b" " * 100,
        re.sub(rb'\b[\w:]+="[^"]*"', b"", xml, count=chance.randrange(1, 60)),
        re.sub(rb'\br="[A-Z]+', b'r="', xml),
        xml.replace(b"spreadsheetml", b"wordprocessingml"),
        xml.replace(b"<v>", b"<v><v>"),
        xml.replace(b"</row>", b"", 1),
        xml.replace(b'xmlns="', b'xmlns:q="'),
    )
    parts[victim] = broken[nth % len(broken)]
    return packed(parts)


def part_missing(nth: int, chance: random.Random) -> bytes:
    parts = fresh()
    names = list(parts)
    for name in [names[nth]] if nth < len(names) else chance.sample(names, chance.randint(2, 6)):
        del parts[name]
    return packed(parts)


def part_twice(nth: int, chance: random.Random) -> bytes:
    names = list(sound_parts())
    name = names[nth % len(names)]
    again = chance.choice(
        (name, name, name.upper(), f"/{name}", name.replace("/", "\\"), f"./{name}", f"x/../{name}")
    )
    return packed(sound_parts(), [(again, chance.choice((sound_parts()[name], b"", b"<a/>")))])


def wrong_relations(nth: int, chance: random.Random) -> bytes:
    parts = fresh()
    where = RELATIONS if nth % 4 else "_rels/.rels"
    targets = re.findall(rb'Target="([^"]*)"', parts[where])
    old = chance.choice(targets)
    new = chance.choice(
        (
            b"workbook.xml",
            b"../../../../etc/passwd",
            b"/etc/passwd",
            b"file:///etc/passwd",
            b"",
            b".",
            b"..",
            b"worksheets/",
            b"worksheets/sheet1.xml",
            b"styles.xml",
            b"http://127.0.0.1:9/sheet.xml",
            b"C:\\x.xml",
            b"_rels/workbook.xml.rels",
            b"\xc3\xa4.xml",
            b"a" * 5000,
            b"worksheets/sheet1.xml#A1",
            b"//x//y",
            b"%00",
        )
    )
    parts[where] = parts[where].replace(b'Target="' + old + b'"', b'Target="' + new + b'"', 1)
    if nth % 3 == 0:
        parts[where] = re.sub(rb'Id="[^"]*"', b'Id="rId1"', parts[where])
    if nth % 5 == 0:
        parts[where] = parts[where].replace(b"/worksheet", b"/chartsheet", chance.randrange(1, 12))
    if nth % 7 == 0:
        parts[where] = parts[where].replace(
            b"Target=", b'TargetMode="External" Target=', chance.randrange(1, 9)
        )
    return packed(parts)


def zip_bomb(nth: int, chance: random.Random) -> bytes:
    parts = fresh()
    blank, rows, entry = b" " * 47_000_000, b"<row/>" * 2_000_000, b"<si><t>a</t></si>" * 300_000
    variant = nth % 12
    if variant == 0:
        parts["xl/media/image1.png"] = b"\0" * 60_000_000
    elif variant == 1:
        return packed(parts, [(f"xl/media/image{n}.png", b"\0" * 4_000_000) for n in range(50)])
    elif variant == 2:
        return packed(parts, [(f"xl/media/image{n}.png", b"") for n in range(2_500)])
    elif variant == 3:
        inner = packed({f"{n}.zip": packed({"a": b"\0" * 2_000_000}) for n in range(9)})
        parts["xl/embeddings/inner.zip"] = packed({"inner.zip": inner})
    elif variant == 4:
        parts[OWN] = parts[OWN].replace(b"<sheetData>", blank + b"<sheetData>")
    elif variant == 5:
        parts[OWN] = parts[OWN].replace(b"<sheetData>", b"<sheetData>" + rows)
    elif variant == 6:
        parts[TEXTS] = parts[TEXTS].replace(b"</sst>", entry + b"</sst>")
    elif variant == 7:
        parts[BOOK] = parts[BOOK].replace(b"<sheets>", b"<a/>" * 2_000_000 + b"<sheets>")
    elif variant == 8:
        parts[RELATIONS] = parts[RELATIONS].replace(
            b"</Relationships>", b"<a/>" * 2_000_000 + b"</Relationships>"
        )
    elif variant == 9:
        parts[STYLES] = parts[STYLES].replace(b"</styleSheet>", b"<xf/>" * 500_000 + b"</styleSheet>")
    else:
        # The directory says that a part is small, and it is not.
        victim = (OWN, TEXTS, STYLES, BOOK)[nth % 4]
        parts[victim] += b" " * 100_000_000
        return told_smaller(packed(parts), victim, chance.choice((1, 100, 5_000)))
    return packed(parts)


def told_smaller(data: bytes, part: str, size: int) -> bytes:
    """Let both headers of a part say another size than it unpacks to."""
    changed = bytearray(data)
    for signature, before, at in ((b"PK\x03\x04", 30, 22), (b"PK\x01\x02", 46, 24)):
        start = data.index(signature)
        while data[start + before : start + before + len(part)] != part.encode():
            start = data.index(signature, start + 4)
        struct.pack_into("<I", changed, start + at, size)
        if size == 1:
            struct.pack_into("<I", changed, start + at - 8, zlib.crc32(b"<"))
    return bytes(changed)
