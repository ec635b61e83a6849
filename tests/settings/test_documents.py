"""Machine, material and job files: units, faults by file, line and key, cards, and random texts."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from beadwright.errors import SettingsError
from beadwright.settings import (
    Machine,
    Material,
    PlanSettings,
    convert,
    material_names,
    parse_document,
    resolve,
)


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text)
    return path


def fault(**files: Path | str) -> list[str]:
    with pytest.raises(SettingsError) as caught:
        resolve({}, **files)
    return [line.strip() for line in str(caught.value).split("\n")]


# Inch, foot and pound as fixed in 1959 (25.4 mm, 0.3048 m, 0.45359237 kg); Fahrenheit by its definition;
# lb/ft3: NIST Special Publication 811 (2008), table B.8.
@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("0.33 in", "length", 8.382),
        ("20 ft", "length", 6096.0),
        ("1.8 m", "length", 1800.0),
        ("600 in/min", "speed", 254.0),
        ("6 m/min", "speed", 100.0),
        ("1 m/s2", "acceleration", 1000.0),
        ("100 lb/h", "rate", 45.359237),
        ("66 g/min", "rate", 3.96),
        ("230 degC", "temperature", 230.0),
        ("450 degF", "temperature", 232.2222222222),
        ("300 K", "temperature", 26.85),
        ("2 h", "time", 7200.0),
        ("150 ms", "time", 0.15),
        ("1.14 g/cm3", "density", 1140.0),
        ("1 lb/ft3", "density", 16.01846337),
        ("12", "length", 12.0),
        ("-1e1mm", "length", -10.0),
    ],
)
def test_numbers_with_units(text: str, kind: str, value: float) -> None:
    assert convert(text, kind) == pytest.approx(value, rel=1e-7)


@pytest.mark.parametrize("text", ["", "mm", "1,5 mm", "3 parsec", "1 2", "--1", "1e999999x", "9" * 100])
def test_what_is_no_length_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"number|unit"):
        convert(text, "length")


def test_a_job_file_gives_what_no_option_overrules(tmp_path: Path) -> None:
    job = written(tmp_path, "job.toml", 'width = "0.4 in"\nfeed = "3 m/min"\nrotate = [0, 0, 90]\n')

    found = resolve({"feed": "80"}, job=job)

    assert (found.settings.width, found.settings.feed) == (10.16, 80.0)
    told = found.as_dict()
    assert told["width_mm"]["from"] == "job"
    assert told["feed_mm_s"]["from"] == "option"
    assert told["height_mm"]["from"] == "default"


def test_each_value_of_a_table_tells_where_it_came_from(tmp_path: Path) -> None:
    job = written(tmp_path, "job.toml", 'fill = {overlap = 0.1, kind = "ribs"}\n')

    told = resolve({"fill": {"kind": "lines"}}, job=job).as_dict()

    assert told["fill.kind"] == {"value": "lines", "from": "option"}
    assert told["fill.overlap"] == {"value": 0.1, "from": "job"}
    assert told["fill.adapt"] == {"value": True, "from": "default"}
    assert told["sequence.sites"]["from"] == "default"


def test_every_fault_of_all_files_is_told_with_its_line(tmp_path: Path) -> None:
    machine = written(
        tmp_path,
        "m.toml",
        """name = "x"
[speeds]
travrse = 3   # misspelt
least = "0 mm/s"
[[device]]
name = "air"
[[device]]
name = "Light"
on_at = ["noon"]
[path]
mode = "sharp"
""",
    )
    job = written(tmp_path, "j.toml", "contours = 0\nwidth = '3 h'\n")
    material = written(tmp_path, "c.toml", "name = 'y'\ntg = { value = 900 }\n")

    lines = fault(machine=machine, job=job, material=material)

    assert lines[0] == "9 settings are at fault:"
    for wanted in (
        "j.toml:1: contours: 0 is out of range; allowed 1 to 1000",
        "j.toml:2: width: '3 h' cannot be used, h is no unit of a length",
        "m.toml:3: speeds.travrse: there is no such setting; did you mean traverse?",
        "m.toml:4: speeds.least: 0.0 is out of range; allowed 0.1 to 5000 mm/s",
        "m.toml:8: device[2].name: 'Light' cannot be used; allowed text of the form",
        "m.toml:9: device[2].on_at[1]: 'noon' cannot be used; allowed program start, program end",
        "m.toml:11: path.mode: 'sharp' cannot be used; allowed exact or continuous",
        "c.toml: density: is missing; allowed 100 to 10000 kg/m3",
        "c.toml:2: tg: 900 is out of range; allowed -50 to 500 degC",
    ):
        assert any(line.startswith(wanted) for line in lines), wanted


def test_faults_of_a_file_come_in_the_order_of_its_lines_after_those_of_options(tmp_path: Path) -> None:
    job = written(
        tmp_path,
        "j.toml",
        "height = 'x'\nzebra = 3\n[fill]\nkind = 'q'\n[sequence]\ndetour = -1\n",
    )
    with pytest.raises(SettingsError) as caught:
        resolve({"contours": "many"}, job=job)

    lines = [line.strip().split(" ")[0] for line in str(caught.value).splitlines()[1:]]
    assert lines == ["contours:", "j.toml:1:", "j.toml:2:", "j.toml:4:", "j.toml:6:"]
    assert "contours: 'many' cannot be used; allowed 1 to 1000, or full" in str(caught.value)


def test_faults_between_values_of_a_card(tmp_path: Path) -> None:
    machine = written(
        tmp_path,
        "m.toml",
        """[path]
mode = "continuous"
[speeds]
least = 600
[extruder]
calibration = [{rpm = 20, rate = 4}]
[[volume.keep_out]]
low = [0, 0, 0]
high = [1, 1, 0]
""",
    )

    lines = fault(machine=machine)

    assert (
        "m.toml:1: path.tolerance: must be stated in mode continuous: without it a corner has no limit"
        in lines
    )
    assert "m.toml:4: speeds.least: 600 mm/s is not below the greatest, 500 mm/s" in lines
    assert "m.toml:6: extruder.calibration: needs weighed purges at three or more screw speeds" in lines
    assert "m.toml:9: volume.keep_out[1].high: each number must be above that of low" in lines


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a = 1\nb = = 2\n", "bad.toml: this is not TOML"),
        ("a = 1\na = 2\n", "line 2"),
        ("x = " + "[" * 5000, "nested"),
        ("x = " + "9" * 5000, "not TOML"),
        ("\x00", "not TOML"),
    ],
)
def test_what_is_not_toml_is_told(text: str, told: str, tmp_path: Path) -> None:
    assert told in fault(job=written(tmp_path, "bad.toml", text))[0]


def test_files_that_are_not_there_or_no_text(tmp_path: Path) -> None:
    (tmp_path / "binary.toml").write_bytes(b"a = '\xff'\n")

    assert "byte 5 is not UTF-8" in fault(job=tmp_path / "binary.toml")[0]
    assert "beadwright init" in fault(machine=tmp_path / "none.toml")[0]
    assert "cannot be read" in fault(job=tmp_path)[0]
    assert "did you mean cf-pei-20?" in fault(material="cf-pei")[0]


# Rule of mixtures, 1/rho = sum of w/rho, carbon 1.80 and glass 2.55 g/cm3, rounded to kg/m3; the polymers' own
# densities are handbook values from memory. CF-ABS carries a published parameter set, 1140 (mixture: 1145).
@pytest.mark.parametrize(
    ("name", "fibre", "share", "polymer"),
    [
        ("cf-pc-20", 1.80, 0.20, 1.20),
        ("gf-petg-30", 2.55, 0.30, 1.27),
        ("cf-petg-30", 1.80, 0.30, 1.27),
        ("cf-pps-50", 1.80, 0.50, 1.35),
        ("cf-pesu-25", 1.80, 0.25, 1.37),
        ("cf-pei-20", 1.80, 0.20, 1.27),
    ],
)
def test_density_of_cards_is_that_of_the_mixture(
    name: str, fibre: float, share: float, polymer: float
) -> None:
    mixture = 1000 / (share / fibre + (1 - share) / polymer)

    assert abs(resolve({}, material=name).material.density.value - mixture) <= 0.51


@pytest.mark.parametrize("name", material_names())
def test_every_number_of_a_shipped_card_has_a_standing(name: str) -> None:
    found = resolve({}, material=name)

    figures = {
        key: getattr(found.material, key)
        for key in Material.model_fields
        if key != "name" and getattr(found.material, key) is not None
    }
    assert all(figure.standing != "not stated" for figure in figures.values())
    assert {
        "density",
        "tg",
        "melt",
        "melt_greatest",
        "conductivity",
        "specific_heat",
        "drying",
    } <= figures.keys()
    assert found.source["material.density"] == "material"


def test_eight_materials_come_with_the_package() -> None:
    assert len(material_names()) == 8


def test_a_plain_number_or_text_is_a_figure_without_standing(tmp_path: Path) -> None:
    card = written(tmp_path, "c.toml", 'name = "own"\ndensity = "1.2 g/cm3"\nemissivity = 0.9\n')

    material = resolve({}, material=card).material

    assert (material.density.value, material.density.standing) == (1200.0, "not stated")
    assert material.emissivity is not None
    assert material.tg is None


def test_a_source_must_be_named(tmp_path: Path) -> None:
    card = written(tmp_path, "c.toml", 'name="a"\ndensity = { value = 1200, standing = "source" }\n')

    assert fault(material=card) == ["c.toml:2: density.source: must be named where standing is source"]


KEYS = st.sampled_from(
    [*PlanSettings.model_fields, *Machine.model_fields, *Material.model_fields, "value", "low", "rpm", "x"]
)
VALUES = st.one_of(
    st.integers(-10, 10**30),
    st.floats(),
    st.booleans(),
    st.sampled_from(["1 in", "3 kg", "exact", "", "é", "[", "G54", "1:2"]),
    st.dates(),
)
TREES = st.recursive(
    VALUES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3), max_leaves=8
)


def as_toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f"'{value}'"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {as_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    return str(value)


def settled(text: str, which: str) -> bool:
    """Whether a text gives settings, or an error that names its file; anything else is raised."""
    try:
        found = resolve({}, **{which: parse_document(text, name="random.toml", told=which)})
    except SettingsError as error:
        return "random.toml" in str(error)
    return bool(found.as_dict())


def test_a_pair_with_one_element_at_fault_is_a_clear_error() -> None:
    assert settled("layers = [0, {}]\n", "job")


@settings(max_examples=150, deadline=None)
@example({"at": [{}, 0]}, "job")
@given(st.dictionaries(KEYS, TREES, max_size=4), st.sampled_from(["job", "machine", "material"]))
def test_random_documents_are_settings_or_a_clear_error(tree: dict[str, object], which: str) -> None:
    text = "".join(f"{key} = {as_toml(value)}\n" for key, value in tree.items())
    assert settled(text, which)


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet="ab=[]{}.\"'#\n 1,\\", max_size=60))
def test_random_texts_are_settings_or_a_clear_error(text: str) -> None:
    assert settled(text, "job")


def test_a_file_given_by_the_wrong_option_is_one_fault(tmp_path: Path) -> None:
    job = written(tmp_path, "job.toml", "width = 10\nheight = 5\ncontours = 3\n")
    card = written(
        tmp_path, "card.toml", 'name = "hall"\n[extruder]\nbore = 8\n[controller]\nname_length = 8\n'
    )

    assert fault(machine=job) == [
        "job.toml: holds the settings of a job, where a machine is wanted; give it by --job"
    ]
    assert fault(job=card) == [
        "card.toml: holds the settings of a machine, where a job is wanted; give it by --machine"
    ]
