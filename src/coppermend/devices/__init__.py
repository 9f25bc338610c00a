"""The device book: data files of chips and their pins, and their reader.

``shipped()`` the book that comes with the program; ``open_book(folder, ...)`` with a user's own chips; ``DeviceBook.find`` and ``get``.
"""

from coppermend.core.circuit.logic import evaluate, names_in
from coppermend.devices.book import DeviceBook, make_book, open_book, shipped
from coppermend.devices.model import DRIVING, LISTENING, Chip, Family, Function, Pin, PinKind, Rail

__all__ = [
    "DRIVING", "LISTENING", "Chip", "DeviceBook", "Family", "Function", "Pin", "PinKind", "Rail", "evaluate", "make_book", "names_in",
    "open_book", "shipped",
]  # fmt: skip
