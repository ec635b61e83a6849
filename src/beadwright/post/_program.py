"""The whole program: head, layers, end."""

from __future__ import annotations

from collections.abc import Sequence

from beadwright import __version__
from beadwright.errors import InternalError
from beadwright.post._comments import note, number, shortened, structured, value
from beadwright.post._dialect import RS274NGC, Dialect, Words
from beadwright.post._layer import MILLIMETRES, LayerText
from beadwright.post._lint import check_text
from beadwright.program import Head, Setting

# What a setting's value may take of its line; a longer one is cut in its middle, and stands whole in plan.json.
MAX_VALUE = 120

CAUTIONS = (
    "CAUTION: nothing in this program has been proved safe for your machine, material, room or part.",
    "Read it, then run it in the air first with the extruder cold and a hand on the emergency stop. Start"
    " only when every person is outside the guarded space. The machine builder's manual, your local codes"
    " and your site's safety rules win where they differ from this program.",
    "Barrel, nozzle, melt, platform and fresh beads burn. Gantry and tamper crush. Melt gives off vapours and"
    " ultrafine particles: ventilate. Do not leave it unattended: fire.",
    "No temperature, screw speed, lag or fan is set here. Strength is not calculated.",
)


def program_text(
    head: Head,
    layers: Sequence[LayerText],
    *,
    words: Words = MILLIMETRES,
    dialect: Dialect = RS274NGC,
) -> str:
    """The program as one text.

    Parameters
    ----------
    head : Head
        What stands at the top.
    layers : sequence of LayerText
        From the platform up, made with the same `words` and `dialect`.
    words : Words
        Unit and decimals of the words.
    dialect : Dialect
        Words of the controller.

    Returns
    -------
    str
        ASCII, lines of at most 256 characters, each with its end; no clock, path or host name. It has
        passed `lint`, its layers each on their own when they were made.

    Raises
    ------
    InternalError
        If it breaks a rule of the standard, or a layer is missing.
    """
    top, bottom = _head_text(head, layers, words, dialect), _end_text(layers, words, dialect)
    for place, layer in enumerate(layers, head.first):
        if layer.index != place:
            msg = f"layer {layer.index} stands where layer {place} is due"
            raise InternalError(msg)
    # A layer's text starts from nothing but the unit, and passed the lint so when it was made.
    check_text(top + bottom)
    return "".join([top, *(layer.text for layer in layers), bottom])


def _head_text(head: Head, layers: Sequence[LayerText], words: Words, dialect: Dialect) -> str:
    """Cautions, what the program is, placement, settings, modal words."""
    parts = [note(f"beadwright {__version__}: machine program in RS274/NGC for a bead extruder")]
    parts += [note(text) for text in CAUTIONS]
    parts += [_program_line(head, layers, words, dialect)]
    parts += [
        structured("placement", (("row", str(i)), ("m", ",".join(number(v) for v in row))))
        for i, row in enumerate(head.placement)
    ]
    factors = zip("xyz", head.contraction, strict=True)
    parts.append(
        structured(
            "contraction",
            [*((axis, number(f)) for axis, f in factors), ("at", ",".join(map(number, head.contraction_at)))],
        )
    )
    parts += [_setting_line(setting) for setting in head.settings]
    parts += [note(text) for text in head.notes]
    parts.append(
        note("Path mode: exact path. What the controller may cut off at corners beside that is its own.")
    )
    parts.append("\n".join([words.unit_word, "G17", "G90", "G94", dialect.path_mode, dialect.off, ""]))
    return "".join(parts)


def _program_line(head: Head, layers: Sequence[LayerText], words: Words, dialect: Dialect) -> str:
    """The structured comment that every reader looks for first."""
    part = shortened(head.part)
    pairs = [
        ("contract", "1"),
        ("units", words.units),
        ("layers", str(len(layers))),
        ("beads", str(sum(layer.n_beads for layer in layers))),
        ("contours", str(head.contours)),
        ("decimals", str(words.decimals)),
        ("part", value(part)),
        ("part_sha256", head.part_sha256),
        ("on", value(dialect.on)),
        ("off", value(dialect.off)),
    ]
    if head.first:
        pairs.append(("first", str(head.first)))
    if part != head.part:
        pairs.append(("part_cut", "1"))
    return structured("program", pairs)


def _setting_line(setting: Setting) -> str:
    """One setting and where it came from."""
    return structured(
        "setting",
        (
            ("name", value(setting.name)),
            ("value", value(shortened(setting.value, MAX_VALUE))),
            ("from", value(setting.source)),
        ),
    )


def _end_text(layers: Sequence[LayerText], words: Words, dialect: Dialect) -> str:
    """Extruder off, up to the greatest height used, end."""
    rise = (
        [f"G0 Z{words.coordinate(max(layer.top for layer in layers))}\n"]
        if any(x.n_beads for x in layers)
        else []
    )
    return "".join([f"{dialect.off}\n", *rise, "(end program)\n", "M2\n"])
