"""Settings files made at random: a clear error with its file and key, or settings; never anything else."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from beadwright.errors import SettingsError
from beadwright.settings import parse_document, resolve, template

NAMES = ("machine", "material", "job")
TEXTS = {name: template(name) for name in NAMES}
# Values of every kind that TOML has, sensible ones and others.
VALUES = st.one_of(
    st.integers(-(10**7), 10**7).map(str),
    st.floats(allow_nan=True, allow_infinity=True, width=32).map(str),
    st.sampled_from(
        [
            "true",
            "[]",
            "{}",
            "[1, 2, 3]",
            '""',
            '"4 mm"',
            '"0.33 in"',
            '"100 lb/h"',
            '"-3 furlong"',
            "1979-05-27",
            "''",
        ]
    ),
    st.text(st.characters(codec="utf-8", exclude_characters='"\\\n\r'), max_size=12).map(lambda t: f'"{t}"'),
)


def tried(name, text):
    """The error of a file as text, or None where it is taken."""
    try:
        document = parse_document(text, name=f"{name}.toml", told=name)
        resolve({}, **{name: document})
    except SettingsError as error:
        return str(error)
    return None


def lines_of(name):
    """Lines of the template that set a key, their comment marks taken off."""
    found = []
    for number, line in enumerate(TEXTS[name].splitlines()):
        bare = line.removeprefix("# ").removeprefix("#")
        key, equals, _ = bare.partition(" = ")
        if equals and key.replace("_", "").isalnum():
            found.append((number, key))
    return found


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_any_value_of_any_key_is_taken_or_refused_in_words(name, data):
    number, key = data.draw(st.sampled_from(lines_of(name)))
    lines = TEXTS[name].splitlines()
    lines[number] = f"{key} = {data.draw(VALUES)}"
    told = tried(name, "\n".join(lines))

    assert told is None or (f"{name}.toml" in told and len(told) < 20_000)


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_torn_files_are_taken_or_refused_in_words(name, data):
    text = TEXTS[name]
    first, last = sorted(data.draw(st.tuples(*[st.integers(0, len(text))] * 2)))
    told = tried(name, text[:first] + data.draw(st.text(max_size=8)) + text[last:])

    assert told is None or f"{name}.toml" in told


@pytest.mark.parametrize("name", NAMES)
def test_the_templates_are_taken_whole(name):
    assert tried(name, TEXTS[name]) is None
    assert len(lines_of(name)) > 5
    tomllib.loads(TEXTS[name])
