"""Names of people's zones and parts made safe for files and drawing layers: any letters come in."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

from advisor.model import Zone
from advisor.pack.page import plain_words

# Letters of a zone's name that go into a name of a file or layer: enough to know it by, short enough for any disk.
_MOST_LETTERS: Final = 40
# Not allowed in the name of a DXF layer (DXF reference, symbol table names), and the comma, which lists split at.
_NOT_IN_LAYERS: Final = re.compile(r"[<>/\\\":;?*|=`',\x00-\x1f]+")
_NOT_IN_FILES: Final = re.compile(r"[^a-z0-9]+")


def file_words(words: str) -> str:
    """Small letters a to z, digits and single hyphens; accents are dropped, other scripts too; may be empty.

    >>> file_words("Wände: Z 0 to 20"), file_words("../..//*"), file_words("瓶")
    ('wande-z-0-to-20', '', '')
    """
    return _NOT_IN_FILES.sub("-", ascii_words(words).lower())[:_MOST_LETTERS].strip("-")


def ascii_words(words: str) -> str:
    """Text on one line without accents and without letters that are not ASCII.

    >>> ascii_words("Söhne\\n№ 5")
    'Sohne No 5'
    """
    return plain_words(unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode("ascii"))


def part_stem(name: str) -> str:
    """The beginning of every file of a part."""
    return file_words(name) or "part"


def zone_stem(zone: Zone) -> str:
    """File name of a zone without its ending: no two of a plan are alike, for the number comes first.

    Numbers are filled up to three digits, so that names sort as zones do.
    """
    return "-".join(word for word in ("zone", f"{zone.id:03d}", file_words(zone.name)) if word)


def layer_words(words: str) -> str:
    """Plain ASCII on one line without the signs that drawing layers may not have, and not too long.

    Readers do not agree on the coding of other letters.

    >>> layer_words('Wall "A"\\n<1/2>'), layer_words("***"), layer_words("Wände")
    ('Wall A 1 2', '', 'Wande')
    """
    return " ".join(_NOT_IN_LAYERS.sub(" ", ascii_words(words)).split())[:_MOST_LETTERS].strip()


def zone_layer(zone: Zone) -> str:
    """Layer of a zone: its number, then its name."""
    return f"zone {zone.id:03d} {layer_words(zone.name)}".strip()
