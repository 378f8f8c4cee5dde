"""The bench's tables, one file a subject."""

from app.bench.tables.boxes import Belonging, Parcel, ParcelBelonging, ParcelItem
from app.bench.tables.materials import Lot, LotHold, LotNotice, LotUse, Material
from app.bench.tables.pairs import DoneKey, Hold, Move, Pair, Serial, Stay, Visit
from app.bench.tables.photos import MovePhoto
from app.bench.tables.setup import BenchSetup, PrintedSheet

__all__ = [
    "Belonging",
    "BenchSetup",
    "DoneKey",
    "Hold",
    "Lot",
    "LotHold",
    "LotNotice",
    "LotUse",
    "Material",
    "Move",
    "MovePhoto",
    "Pair",
    "Parcel",
    "ParcelBelonging",
    "ParcelItem",
    "PrintedSheet",
    "Serial",
    "Stay",
    "Visit",
]
