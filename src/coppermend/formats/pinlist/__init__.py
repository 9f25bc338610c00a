"""Pin lists: which pin is in which net, as a table.

``read_pinlist(data: bytes, name: str) -> PinList``; ``looks_like_pinlist(data: bytes) -> bool``.
"""

from coppermend.formats.pinlist.reader import looks_like_pinlist, read_pinlist

__all__ = ["looks_like_pinlist", "read_pinlist"]
