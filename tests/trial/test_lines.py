"""The lines on which the keys of a TOML text stand."""

import tomllib

from hypothesis import given, settings
from hypothesis import strategies as st

from colscan.trial.lines import find_key_lines

TRICKY = r'''# a remark with [brackets] and = signs
name = "a # that is no remark = 3" # but this is
"quoted key" = 'literal \ '
text = """
[limits]
horizon = "inside a text"
\""" still inside """""
literal = \'\'\'
[[strain]]\'\'\'
list = [
  1, # a remark ]
  [ "]", 'x' ],
]
inline = { a = 1, b.c = [ { d = 2 } ] }
when = 2026-03-02T06:00:00-05:00

[limits] # limits
horizon = 12
dotted.key . more = 3

  [[strain]]
  code = "PO-3"
[strain.extra]
x = 1
[[strain]]

code = "PE-1"
[[ strain . deep ]]
y = 1
[[strain.deep]]
y = 2
'''.replace("\\'\\'\\'", "'''")


def walk(value, path=()):
    """All key paths of a TOML value, array elements by index."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, inner in items:
        yield (*path, name)
        yield from walk(inner, (*path, name))


def test_every_key_of_a_tricky_file_has_its_line():
    """Texts, lists and inline tables over several lines, remarks, quoted and dotted keys, nested arrays."""
    lines = find_key_lines(TRICKY)
    assert set(walk(tomllib.loads(TRICKY))) == set(lines)
    written = TRICKY.split("\n")
    expected = {
        ("name",): "name =",
        ("quoted key",): '"quoted key"',
        ("text",): "text =",
        ("literal",): "literal =",
        ("inline", "b", "c", 0, "d"): "inline =",
        ("list", 1): '[ "]"',
        ("limits",): "[limits] # limits",
        ("limits", "horizon"): "horizon = 12",
        ("limits", "dotted", "key", "more"): "dotted.key",
        ("strain", 0): "[[strain]]",
        ("strain", 0, "code"): 'code = "PO-3"',
        ("strain", 0, "extra", "x"): "x = 1",
        ("strain", 1, "code"): 'code = "PE-1"',
        ("strain", 1, "deep", 0): "[[ strain . deep ]]",
        ("strain", 1, "deep", 1, "y"): "y = 2",
    }
    for path, start in expected.items():
        assert written[lines[path] - 1].strip().startswith(start), path


def test_line_ends_of_windows_count_once():
    """CRLF makes no difference."""
    assert find_key_lines(TRICKY.replace("\n", "\r\n")) == find_key_lines(TRICKY)


VALUES = st.sampled_from(
    [
        "1",
        "-2.5e3",
        "true",
        "2026-03-02",
        "2026-03-02 06:00:00",
        '"a [b] # c = d"',
        "'x\"'",
        '"""\n[a]\nb = 1\n"""',
        '"""a"""""',
        "''''a\n''''",
        "[]",
        "[1,\n2, # ]\n]",
        '[["a", "]"], {x = 1}]',
        "{}",
        '{ p = "}", q.r = [1, 2] }',
        '"\\"\\\\"',
    ]
)
BLANKS = st.sampled_from(["", "\n", "# [remark] = 1\n", "   \n"])
STATEMENTS = st.lists(st.tuples(BLANKS, VALUES), min_size=1, max_size=8)


@settings(deadline=None)
@given(tables=st.lists(STATEMENTS, min_size=1, max_size=4))
def test_lines_are_those_where_the_keys_were_written(tables):
    """Whatever stands in between, each key's line is the one it was written on (counted while writing)."""
    text, expected = "", {}
    for number, statements in enumerate(tables):
        text += "[[part]]\n"
        expected["part", number] = text.count("\n")
        for i, (blank, value) in enumerate(statements):
            text += blank
            expected["part", number, f"key-{i}"] = text.count("\n") + 1
            text += f"key-{i} = {value}\n"
    lines = find_key_lines(text)
    assert set(walk(tomllib.loads(text))) == set(lines)
    assert {path: lines[path] for path in expected} == expected
