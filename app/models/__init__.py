"""The tables. Relationships are never loaded implicitly (`lazy="raise"`): each service names what it loads."""

from app.models.access import ApiToken, Attempt, SentForm, SignIn, TickPass
from app.models.balls import Ball, Bore, Inner, Photo
from app.models.base import Base, MadeInShop, now
from app.models.bits import Bit, BitEvent
from app.models.bowlers import Bowler, BowlerWord
from app.models.changes import Change
from app.models.drillings import BenchStop, Drilling, DrillingStep, Measurement
from app.models.fits import Fit, FitHole, letter_of
from app.models.floor import Floor
from app.models.intake import IntakeRow
from app.models.old_holes import OldHole
from app.models.owners import Merger, OwnerChange
from app.models.parts import Part, PartMovement
from app.models.shops import Rule, Shop, ShopLimit, Staff
from app.models.studies import Study
from app.models.systems import DepthObservation, InsertSystem, TrialFit
from app.models.tickets import BallCheck, Squad, Ticket, TicketMove, TicketWait
from app.models.troubles import Trouble

__all__ = [
    "ApiToken",
    "Attempt",
    "Ball",
    "BallCheck",
    "Base",
    "BenchStop",
    "Bit",
    "BitEvent",
    "Bore",
    "Bowler",
    "BowlerWord",
    "Change",
    "DepthObservation",
    "Drilling",
    "DrillingStep",
    "Fit",
    "FitHole",
    "Floor",
    "Inner",
    "InsertSystem",
    "IntakeRow",
    "MadeInShop",
    "Measurement",
    "Merger",
    "OldHole",
    "OwnerChange",
    "Part",
    "PartMovement",
    "Photo",
    "Rule",
    "SentForm",
    "Shop",
    "ShopLimit",
    "SignIn",
    "Squad",
    "Staff",
    "Study",
    "TickPass",
    "Ticket",
    "TicketMove",
    "TicketWait",
    "TrialFit",
    "Trouble",
    "letter_of",
    "now",
]
