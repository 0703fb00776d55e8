"""The tables. Relationships are never loaded implicitly (`lazy="raise"`): each service names what it loads."""

from app.models.access import ApiToken, Attempt, SentForm, SignIn, TickPass
from app.models.balls import Ball, Bore, Inner
from app.models.base import Base, MadeInShop, now
from app.models.bits import Bit, BitEvent
from app.models.bowlers import Bowler, BowlerWord
from app.models.cards import NEVER_EXPORTED, Installation, IssuedCard, KnownKey, ReadCard, ShopKey, StatedDepth
from app.models.changes import Change
from app.models.drillings import BenchStop, Drilling, DrillingStep, Measurement
from app.models.fits import Fit, FitHole
from app.models.floor import Floor
from app.models.intake import IntakeRow
from app.models.layouts import AxisPoint, BallMarks, FavouriteLayout, Layout
from app.models.old_holes import OldHole
from app.models.owners import Merger, OwnerChange
from app.models.paper_cards import CardStack, PaperCard
from app.models.parts import Part, PartMovement
from app.models.photos import Photo
from app.models.sheets import SheetHabit, SheetImport, SheetRow
from app.models.shops import Rule, Shop, ShopLimit, Staff
from app.models.studies import Study
from app.models.systems import DepthObservation, InsertSystem, TrialFit
from app.models.tickets import BallCheck, Squad, Ticket, TicketMove, TicketWait
from app.models.troubles import Trouble
from app.models.weighings import Regulation, Scale, Weighing

__all__ = [
    "NEVER_EXPORTED",
    "ApiToken",
    "Attempt",
    "AxisPoint",
    "Ball",
    "BallCheck",
    "BallMarks",
    "Base",
    "BenchStop",
    "Bit",
    "BitEvent",
    "Bore",
    "Bowler",
    "BowlerWord",
    "CardStack",
    "Change",
    "DepthObservation",
    "Drilling",
    "DrillingStep",
    "FavouriteLayout",
    "Fit",
    "FitHole",
    "Floor",
    "Inner",
    "InsertSystem",
    "Installation",
    "IntakeRow",
    "IssuedCard",
    "KnownKey",
    "Layout",
    "MadeInShop",
    "Measurement",
    "Merger",
    "OldHole",
    "OwnerChange",
    "PaperCard",
    "Part",
    "PartMovement",
    "Photo",
    "ReadCard",
    "Regulation",
    "Rule",
    "Scale",
    "SentForm",
    "SheetHabit",
    "SheetImport",
    "SheetRow",
    "Shop",
    "ShopKey",
    "ShopLimit",
    "SignIn",
    "Squad",
    "Staff",
    "StatedDepth",
    "Study",
    "TickPass",
    "Ticket",
    "TicketMove",
    "TicketWait",
    "TrialFit",
    "Trouble",
    "Weighing",
    "now",
]
