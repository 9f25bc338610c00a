"""Pin lists: which pin is in which net, as a table; and the map file that says where their parts sit.

``read_pinlist(data: bytes, name: str) -> PinList``; ``looks_like_pinlist(data: bytes) -> bool``; ``read_map(data: bytes, name: str) -> MapFile``;
``write_map(said: MapFile) -> bytes``.
"""

from coppermend.formats.pinlist.mapfile import MAP_NAME, read_map, write_map
from coppermend.formats.pinlist.reader import looks_like_pinlist, read_pinlist

__all__ = ["MAP_NAME", "looks_like_pinlist", "read_map", "read_pinlist", "write_map"]
