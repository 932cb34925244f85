"""Clues that cannot be read by opening their files: sealed, and all of one size.

Each clue has a key of its own, derived (HKDF, RFC 5869) from the case code, the name of the clue
and the tokens of what had to be opened before it. It is sealed by AES-SIV (RFC 5297), which also
shows any change to the file and needs no random numbers, and packed by bzip2, which gives the same
bytes in all its versions: so a case made again is the same byte by byte.

What this stops: reading ahead in an editor, searching the folder for a word, comparing sizes or
names. What it does not stop: the program that opens the clues for a student is on the student's
own machine, so somebody who writes a program can open them all. The seal keeps honest people
honest; the marks rest on the reasons that were written down, not on the secrecy of the clues.
"""

import bz2
import json
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESSIV
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from rca.errors import RcaError

LENGTH_BYTES, TAG_BYTES = 4, 16
MOST_CHARACTERS = 2_000_000
KEY_BYTES = 64


def sealed(content: Any, *, key: bytes, size: int) -> bytes:
    """Seal plain data (as JSON) into exactly `size` bytes.

    Raises
    ------
    RcaError
        The content does not fit into that size.
    """
    packed = bz2.compress(json.dumps(content, ensure_ascii=False).encode(), 9)
    room = size - TAG_BYTES - LENGTH_BYTES
    if len(packed) > room:
        raise RcaError(f"a clue of {len(packed)} bytes does not fit into {size}")
    plain = len(packed).to_bytes(LENGTH_BYTES, "big") + packed.ljust(room, b"\0")
    return AESSIV(key).encrypt(plain, None)


def opened(data: bytes, *, key: bytes) -> Any:
    """Give back what was sealed.

    Raises
    ------
    RcaError
        The file was changed, or this is not its key.
    """
    try:
        plain = AESSIV(key).decrypt(data, None)
        length = int.from_bytes(plain[:LENGTH_BYTES], "big")
        text = bz2.BZ2Decompressor().decompress(
            plain[LENGTH_BYTES : LENGTH_BYTES + length], MOST_CHARACTERS
        )
        return json.loads(text)
    except (InvalidTag, ValueError, OSError, EOFError) as error:
        raise RcaError(
            "this clue cannot be opened: its file was changed, or it belongs to another case",
            next_step="copy the folder `clues` again from what you were given",
        ) from error


def key_of(code: str, name: str, *tokens: str) -> bytes:
    """Key of a clue: of the case code, its name, and the tokens of what was opened before."""
    material = "\x1f".join((code, *tokens)).encode()
    return HKDF(
        algorithm=SHA256(), length=KEY_BYTES, salt=b"rca class exercise", info=name.encode()
    ).derive(material)
