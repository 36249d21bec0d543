"""What the window shows at a moment, and what each key makes of it: no drawing here."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal, get_args

from advisor.pack.camera import ViewName
from advisor.pack.colour_map import ColourMode
from advisor.pack.maps import COLOUR_MODES

Action = Literal[
    "class", "slope", "strategy", "zone", "reach", "ball", "leftover", "stick_out", "cusp", "minutes",
    "next", "fade", "unfade", "drop", "edges", "lines", "passes", "whole",
    "iso", "top", "front", "under", "save", "help", "quit",
]  # fmt: skip
ACTIONS: Final[tuple[Action, ...]] = get_args(Action)

# Key symbol, what the key is called on screen, and what it does.
KEYS: Final[dict[Action, tuple[str, str, str]]] = {
    "class": ("1", "1", "colour by slope class"),
    "slope": ("2", "2", "colour by slope"),
    "strategy": ("3", "3", "colour by strategy"),
    "zone": ("4", "4", "colour by zone"),
    "reach": ("5", "5", "colour by reach of the finishing cutter"),
    "ball": ("6", "6", "colour by largest ball that fits"),
    "leftover": ("7", "7", "colour by height left"),
    "stick_out": ("8", "8", "colour by length out of the holder"),
    "cusp": ("9", "9", "colour by height that passes leave"),
    "minutes": ("0", "0", "colour by minutes of a zone"),
    "next": ("c", "C", "next colouring"),
    "fade": ("o", "O", "only this zone: fade the others"),
    "unfade": ("a", "A", "all zones in colour again"),
    "drop": ("Escape", "Esc", "let go of the picked zone"),
    "lines": ("b", "B", "borders and sharp edges, on or off"),
    "edges": ("m", "M", "mesh of facets, on or off"),
    "passes": ("v", "V", "passes of the last stage, on or off"),
    "whole": ("g", "G", "the whole plan, after a slider was moved"),
    "iso": ("r", "R", "reset the view"),
    "top": ("t", "T", "look from the spindle"),
    "front": ("f", "F", "look from the front"),
    "under": ("u", "U", "look from below"),
    "save": ("p", "P", "save the picture in this folder"),
    "help": ("h", "H", "this list, on or off"),
    "quit": ("q", "Q", "close the window"),
}
MOUSE_WORDS: Final = (
    ("point", "read a zone's card"),
    ("click", "hold that card"),
    ("drag", "turn the part"),
    ("wheel", "nearer, further"),
    ("Shift, drag", "move the part"),
)
_VIEWS: Final[dict[Action, ViewName]] = {"iso": "iso", "top": "top", "front": "front", "under": "under"}


@dataclass(frozen=True)
class Look:
    """What is shown. Zones are ids, None where there is none.

    ``modes`` are those that the plan can be coloured by. ``turn`` counts the views asked for, so that asking twice for
    one view turns the part back twice.
    """

    mode: ColourMode = "class"
    pointed: int | None = None
    picked: int | None = None
    faded: bool = False
    edges: bool = False
    lines: bool = True
    passes: bool = False
    help: bool = False
    view: ViewName = "iso"
    turn: int = 0
    modes: tuple[ColourMode, ...] = COLOUR_MODES

    @property
    def shown(self) -> int | None:
        """The zone whose card is read: the picked one, else the one pointed at."""
        return self.picked if self.picked is not None else self.pointed

    @property
    def only(self) -> int | None:
        """The one zone in colour, None where all are."""
        return self.shown if self.faded else None


def action_of_key(symbol: str) -> Action | None:
    """The action of a key symbol, None for a key that has none; capitals count as small letters."""
    wanted = symbol.lower() if len(symbol) == 1 else symbol
    return next((action for action, (key, _, _) in KEYS.items() if key == wanted), None)


def after(look: Look, action: Action) -> Look:
    """What is shown after a key; ``save``, ``whole`` and ``quit`` change nothing of it."""
    if action in COLOUR_MODES:
        return replace(look, mode=action) if action in look.modes else look
    if action == "next":
        return replace(look, mode=look.modes[(look.modes.index(look.mode) + 1) % len(look.modes)])
    if action in _VIEWS:
        return replace(look, view=_VIEWS[action], turn=look.turn + 1)
    if action == "fade":
        return look if look.shown is None else replace(look, picked=look.shown, faded=True)
    if action == "unfade":
        return replace(look, faded=False)
    if action == "drop":
        return replace(look, pointed=None, picked=None, faded=False)
    if action == "edges":
        return replace(look, edges=not look.edges)
    if action == "lines":
        return replace(look, lines=not look.lines)
    if action == "passes":
        return replace(look, passes=not look.passes)
    if action == "help":
        return replace(look, help=not look.help)
    return look


def after_click(look: Look, zone: int | None) -> Look:
    """What is shown after a click on a zone, or beside the part; clicking the picked zone lets go of it."""
    if zone is None or zone == look.picked:
        return after(look, "drop")
    return replace(look, picked=zone)
