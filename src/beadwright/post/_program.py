"""The whole program: head, layers, end."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from beadwright import __version__
from beadwright.errors import InternalError, SettingsError
from beadwright.post._bed_lines import bed_lines
from beadwright.post._comments import note, number, shortened, structured, value
from beadwright.post._dialect import Dialect
from beadwright.post._layer import MILLIMETRES, LayerText
from beadwright.post._lint import MAX_LINE_NUMBER, check_text
from beadwright.post._load import STANDARD, standard
from beadwright.post._words import Words
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
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Devices:
    """Lines that switch devices when a program starts, and when it ends, after the extruder stopped."""

    start: tuple[str, ...] = ()
    end: tuple[str, ...] = ()


NO_DEVICES: Devices = Devices()
# Faces of a feature that is cut later told on one line; the rest of them on more lines.
FACES = 24


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProgramText:
    """A program's text, part by part, so that no whole of it need stand in memory.

    Iterating gives the parts in their order, each a whole number of lines, as often as asked.

    Attributes
    ----------
    top, bottom : str
        What stands before and after the layers.
    layers : sequence of LayerText
    step : int or None
        By which lines are numbered, if they are.
    """

    top: str
    bottom: str
    layers: Sequence[LayerText]
    step: int | None = None

    def __iter__(self) -> Iterator[str]:
        number = 0
        for part in self._plain():
            text = part
            if self.step is not None:
                text, number = _numbered(part, self.step, number)
            yield text

    def _plain(self) -> Iterator[str]:
        yield self.top
        for layer in self.layers:
            yield layer.text
        yield self.bottom

    def whole(self) -> str:
        """All of it."""
        return "".join(self)


def program_text(
    head: Head,
    layers: Sequence[LayerText],
    *,
    words: Words = MILLIMETRES,
    dialect: Dialect | None = None,
    path_tolerance: float | None = None,
    work_offset: str | None = None,
    devices: Devices = NO_DEVICES,
    file: str = "",
) -> ProgramText:
    """The program, part by part.

    Parameters
    ----------
    head : Head
        What stands at the top.
    layers : sequence of LayerText
        From the platform up, made with the same `words` and `dialect`.
    words : Words
        Unit and decimals of the words.
    dialect : Dialect, optional
        Words of the controller; default those of the standard.
    path_tolerance : float, optional
        Greatest distance from the path that the controller may cut off, mm; for continuous path.
    work_offset : str, optional
        Word that selects the coordinate system, as G55.
    devices : Devices
        Lines that switch devices at the program's start and end.
    file : str
        Which file of how many this is, as 2/5; empty for the whole program.

    Returns
    -------
    ProgramText
        ASCII, lines of at most 256 characters, each with its end; no clock, path or host name. It has
        passed `lint`, its layers each on their own.

    Raises
    ------
    InternalError
        If it breaks a rule of the standard, or a layer is missing.
    """
    own = dialect or standard()
    _check_path_mode(own, path_tolerance)
    start = own.write(
        "program_start",
        units=words.unit_word,
        path_tolerance="" if path_tolerance is None else words.coordinate(path_tolerance),
        work_offset=work_offset or "",
        off=own.off or "",
    )
    top = _head_text(head, layers, words, own, path_tolerance, file) + start + _lines(devices.start)
    bottom = _end_text(layers, words, own, devices)
    goes_on = False
    for place, layer in enumerate(layers, head.first):
        if layer.index != place:
            msg = f"layer {layer.index} stands where layer {place} is due"
            raise InternalError(msg)
        if layer.carried != goes_on:
            msg = f"layer {layer.index} does not begin as the one below it ends"
            raise InternalError(msg)
        goes_on = layer.goes_on
    if goes_on:
        msg = "the last layer goes on into nothing"
        raise InternalError(msg)
    # A layer's text starts from nothing but the unit, and passed the lint so when it was made.
    check_text(top + bottom, beyond=own.beyond)
    text = ProgramText(top=top, bottom=bottom, layers=layers, step=own.line_numbers or None)
    if text.step is not None:
        first, *others, last = text
        check_text(first + last, beyond=own.beyond)
        for each in others:
            check_text(f"{words.unit_word}\n{each}M2\n", beyond=own.beyond)
    return text


def _lines(lines: Sequence[str]) -> str:
    return "".join(f"{line}\n" for line in lines)


def _check_path_mode(dialect: Dialect, tolerance: float | None) -> None:
    """The machine's path mode is that of the dialect."""
    if dialect.path == "continuous" and tolerance is None:
        raise SettingsError(
            f"dialect {dialect.name} writes continuous path, so the machine must state its tolerance:"
            ' write path.mode = "continuous" and path.tolerance in the machine file, the mm that your controller'
            " keeps, and give that file with --machine"
        )
    if dialect.path == "exact" and tolerance is not None:
        raise SettingsError(
            f'the machine\'s path.mode is "continuous", but dialect {dialect.name} writes exact path; take a'
            " dialect with continuous path, as rs274-continuous"
        )


def _numbered(text: str, step: int, number: int) -> tuple[str, int]:
    """Number every line that holds words, as the standard allows: at most five digits, then from the start again.

    `number` is that of the last line before, 0 at the start; the text's own last one comes with it.
    """
    out = []
    for line in text.split("\n"):
        if not line or line[0] in "(%":
            out.append(line)
            continue
        number = step if number + step > MAX_LINE_NUMBER else number + step
        out.append(f"N{number} {line}")
    return "\n".join(out), number


def _head_text(
    head: Head,
    layers: Sequence[LayerText],
    words: Words,
    dialect: Dialect,
    path_tolerance: float | None,
    file: str,
) -> str:
    """Cautions, notes, what the program is, placement, settings."""
    parts = [note(f"beadwright {__version__}: machine program in RS274/NGC for a bead extruder")]
    parts += [note(text) for text in (*CAUTIONS, _not_set(head, dialect))]
    if dialect.name != STANDARD:
        parts += [note(f"Dialect {dialect.name}: {dialect.title}")]
    if dialect.arcs == "radius":
        parts += [note("NOT ADVISED: arcs in radius form; their centres depend on the last digit.")]
    # Before the long list of settings, so that whoever opens the file meets what was overridden or is not known.
    parts += [note(text) for text in head.notes]
    parts += [_program_line(head, layers, words, dialect, file)]
    parts += [
        structured("placement", (("row", str(i)), ("m", ",".join(number(v) for v in row))))
        for i, row in enumerate(head.placement)
    ]
    for place, copy in enumerate(head.copies):
        named = (("part", value(shortened(copy.part))), ("part_sha256", copy.part_sha256))
        parts.append(structured("copy", (("index", str(place)), *named)))
        parts += [
            structured("copy", (("index", str(place)), ("row", str(i)), ("m", ",".join(map(number, row)))))
            for i, row in enumerate(copy.placement)
        ]
    factors = zip("xyz", head.contraction, strict=True)
    parts.append(
        structured(
            "contraction",
            [*((axis, number(f)) for axis, f in factors), ("at", ",".join(map(number, head.contraction_at)))],
        )
    )
    for number_of, faces in enumerate(head.later):
        for first in range(0, len(faces), FACES):
            told = ",".join(map(str, faces[first : first + FACES]))
            parts.append(structured("cut_later", (("feature", str(number_of)), ("faces", told))))
    if head.bed is not None:
        parts += bed_lines(head.bed, head.bed_layers)
    parts += [line for setting in head.settings for line in _setting_lines(setting)]
    if path_tolerance is None:
        told = "exact path. What the controller may cut off at corners beside that is its own."
    else:
        told = f"continuous; the controller may leave the path by up to {number(path_tolerance)} mm."
    parts.append(note(f"Path mode: {told}"))
    return "".join(parts)


def _not_set(head: Head, dialect: Dialect) -> str:
    """What the program leaves to the machine, and what it does not."""
    left = [
        name
        for name, told in (
            ("temperature", head.heats),
            ("screw speed", dialect.flow != "speed-tied"),
            ("lag", head.lag),
            ("fan", False),
        )
        if not told
    ]
    names = f"{', '.join(left[:-1])} or {left[-1]}" if len(left) > 1 else left[0]
    lag = " The leads are those of the extruder's lag in the machine file, as measured." if head.lag else ""
    return f"No {names} is set here.{lag} Strength is not calculated."


def _program_line(head: Head, layers: Sequence[LayerText], words: Words, dialect: Dialect, file: str) -> str:
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
    ]
    if dialect.on and dialect.off:
        pairs += [("on", value(dialect.on)), ("off", value(dialect.off))]
    if dialect.axis:
        pairs.append(("axis", dialect.axis))
        if head.axis_at:
            pairs.append(("axis_at", number(head.axis_at)))
    if dialect.beyond:
        pairs.append(("beyond", ",".join(dialect.beyond)))
    if file:
        pairs.append(("file", value(file)))
    if head.first or head.partial:
        pairs.append(("first", str(head.first)))
    if part != head.part:
        pairs.append(("part_cut", "1"))
    return structured("program", pairs)


def _setting_lines(setting: Setting) -> list[str]:
    """One setting and where it came from; a long value is shortened, rules are told in parts."""
    if setting.value[:1] not in {"[", "{"}:
        parts = [value(shortened(setting.value, MAX_VALUE))]
    else:
        parts = [""]
        for sign in map(value, setting.value):
            if len(parts[-1]) + len(sign) > MAX_VALUE:
                parts.append("")
            parts[-1] += sign
    return [
        structured(
            "setting",
            (
                ("name", value(setting.name)),
                ("value", part),
                ("from", value(setting.source)),
                *((("standing", value(setting.standing)),) if setting.standing else ()),
                *((("part", str(place)),) if len(parts) > 1 else ()),
            ),
        )
        for place, part in enumerate(parts)
    ]


def _end_text(layers: Sequence[LayerText], words: Words, dialect: Dialect, devices: Devices) -> str:
    """Extruder and devices off, up to the greatest height used, end."""
    rise = ""
    if any(x.n_beads for x in layers):
        rise = dialect.write("rise", z=words.coordinate(max(layer.top for layer in layers)))
    stop = dialect.write("flow_stop", off=dialect.off or "")
    return f"{stop}{_lines(devices.end)}{rise}(end program)\n{dialect.write('program_end', off=dialect.off or '')}"
