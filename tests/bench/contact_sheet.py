"""Zone maps of the project's own parts on one page: ``python -m tests.bench.contact_sheet``.

Writes ``docs/pictures/all_maps.png``, which ``docs/maps.md`` shows. Every part is planned with
the ball noted beneath it.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import advisor
from advisor.model import SLOPE_CLASSES, Plan
from advisor.pack.page import Page, blank_page, draw_line, fill_box, text_width, write
from advisor.pack.palette import CLASS_STYLES, FAINT_INK, QUIET_INK, UNZONED
from advisor.pack.picture import draw_thumbnail, save_picture
from advisor.part.heal import heal
from advisor.part.measured import measure_part

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))  # the labelled parts import their neighbours by bare name

from labelled import LabelledPart  # noqa: E402
from labelled_parts import labelled_parts  # noqa: E402

OUT = ROOT / "docs" / "pictures" / "all_maps.png"
DEMO_BALLS = {
    "fruit_cup_tool": "10 mm", "egg_tray_tool": "6 mm", "bottle_shoulder_mould": None, "paddle_blade": None,
}  # fmt: skip
LABELLED = (
    "round_pocket_plate", "drafted_pockets", "island_pockets", "tight_fillets",
    "bowl_plate", "dome_plate", "boss_plate", "mould_plate",
    "trough_block", "bend_block", "ring_tool", "turned_steps",
    "terrace_block", "wave_block", "spool", "plate_with_holes",
)  # fmt: skip
COLUMNS = 4
WIDE, HIGH, WORDS, MARGIN, KEY = 320, 240, 44, 20, 40


def plan_of(part: LabelledPart) -> Plan:
    """Zones of a labelled part, planned with its own ball."""
    measured = measure_part(
        heal(part.vertices, part.faces, part.name), name=part.name, file=part.name, sha256="", unit="mm",
        unit_assumed=False,
    )  # fmt: skip
    return advisor.plan(measured, only_zones=True, ball=f"{part.ball_mm} mm")


def plans() -> Iterator[Plan]:
    """Plans of all parts on the page, in its order."""
    for name, ball in DEMO_BALLS.items():
        yield advisor.plan(ROOT / "meshes" / f"{name}.stl", only_zones=True, ball=ball)
    made = {part.name: part for part in labelled_parts()}
    for name in LABELLED:
        yield plan_of(made[name])


def _draw_key(page: Page) -> None:
    x, y = float(MARGIN), float(MARGIN)
    words = {name: CLASS_STYLES[name].paint.lit for name in SLOPE_CLASSES}
    for name, colour in [*words.items(), ("small features", UNZONED.lit)]:
        fill_box(page, (x, y, x + 26, y + 16), colour, 2)
        write(page, (x + 34, y + 13), name, 13)
        x += 34 + text_width(page, name, 13) + 24


def _draw_cell(page: Page, plan: Plan, place: int) -> None:
    row, column = divmod(place, COLUMNS)
    left, top = MARGIN + column * (WIDE + MARGIN), MARGIN + KEY + row * (HIGH + WORDS + MARGIN)
    page.image.paste(draw_thumbnail(plan, (WIDE, HIGH)), (left, top))
    record = plan.record
    below = top + HIGH
    draw_line(page, (left, below + 4, left + WIDE, below + 4), FAINT_INK, 1)
    write(page, (left, below + 22), record.part.name, 14, bold=True)
    ball = f"ball {record.tools[record.stages[-1].tool].diameter_mm:g} mm"
    write(page, (left, below + 39), f"{ball}, {len(record.zones)} zones", 12, QUIET_INK)


def main() -> None:
    """Write the page."""
    made = list(plans())
    rows = -(-len(made) // COLUMNS)
    width = MARGIN + COLUMNS * (WIDE + MARGIN)
    page = blank_page(width, MARGIN + KEY + rows * (HIGH + WORDS + MARGIN), 1.0)
    _draw_key(page)
    for place, plan in enumerate(made):
        _draw_cell(page, plan, place)
    save_picture(page.image, OUT)
    print(f"{OUT.relative_to(ROOT)}: {len(made)} parts, {OUT.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
