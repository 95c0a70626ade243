"""Compiled templates are kept beside the package's own, and none is used that is out of date."""

import gc
import marshal
import os
import weakref

import pytest
from jinja2 import FileSystemLoader, UndefinedError, pass_context

from kilnfolio.rendering import compiled
from kilnfolio.rendering.compiled import PackageEnvironment

DIGEST = 64  # characters at the head of a kept file


@pytest.fixture(autouse=True)
def forget(monkeypatch):
    """Return what makes this process forget all that it compiled, as a new one would know nothing."""

    def forget():
        monkeypatch.setattr(compiled, "_COMPILED", {})
        compiled._versions.cache_clear()

    forget()
    yield forget
    compiled._versions.cache_clear()


def text_of(folder, change=id):
    env = PackageEnvironment()
    env.loader = FileSystemLoader(str(folder))
    env.filters["shown"] = str
    change(env)
    return env.get_template("page.html").render()


@pytest.fixture
def kept(tmp_path, forget):
    """Return a folder with a template, of which something is kept that prints BAD."""
    page = tmp_path / "page.html"
    page.write_text("{% if 1 %}\n{{ 2 | shown }} a{% endif %}")
    assert text_of(tmp_path) == "2 a"
    (file,) = (tmp_path / "__pycache__").iterdir()
    bad = PackageEnvironment().compile("BAD", page.name, str(page))
    file.write_bytes(file.read_bytes()[:DIGEST] + marshal.dumps(bad))
    forget()
    assert text_of(tmp_path) == "BAD", "what is kept is not used"
    forget()
    return tmp_path


def test_a_changed_text_is_compiled_again_whatever_its_time_says(kept):
    page = kept / "page.html"
    state = page.stat()
    page.write_text(page.read_text().replace(" a", " b"))
    os.utime(page, ns=(state.st_atime_ns, state.st_mtime_ns))
    assert text_of(kept) == "2 b"


def test_a_template_that_was_moved_is_compiled_again(kept):
    """Its address stands in its error messages."""
    assert text_of(kept.rename(kept.with_name("moved"))) == "2 a"


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (lambda env: env.filters.update(more=str), "2 a"),
        (lambda env: env.filters.update(shown=pass_context(lambda page, _: page.name)), "page.html a"),
        (lambda env: env.tests.update(even=pass_context(lambda *_: True)), "2 a"),
        (lambda env: setattr(env, "trim_blocks", False), "\n2 a"),
        (lambda env: setattr(env, "autoescape", False), "2 a"),
        (lambda env: env.policies.update({"ext.i18n.trimmed": True}), "2 a"),
        (lambda env: env.add_extension("jinja2.ext.do"), "2 a"),
        (lambda env: env.install_null_translations(newstyle=True), "2 a"),
    ],
)  # fmt: skip
def test_other_settings_compile_it_again(kept, change, text):
    assert text_of(kept, change) == text


def test_another_version_of_jinja_compiles_it_again(kept, monkeypatch):
    monkeypatch.setattr(compiled.jinja2, "__version__", "another")
    assert text_of(kept) == "2 a"


def test_another_way_to_escape_compiles_it_again(kept, monkeypatch):
    """A compiled template holds its constants as they were escaped then."""
    monkeypatch.setattr(compiled, "escape", lambda text: text.replace("'", "&apos;"))
    assert text_of(kept) == "2 a"


def test_another_python_compiles_it_again(kept, monkeypatch):
    monkeypatch.setattr(compiled, "MAGIC_NUMBER", b"another")
    assert text_of(kept) == "2 a"


@pytest.mark.parametrize("length", [0, 10, DIGEST, DIGEST + 9])
def test_a_damaged_one_is_compiled_again(kept, length):
    (file,) = (kept / "__pycache__").iterdir()
    file.write_bytes(file.read_bytes()[:length])
    assert text_of(kept) == "2 a"


def test_none_holds_what_a_filter_made_of_a_constant(kept, forget):
    """A mill's own unit may be in it, or what the filter made in an earlier version."""
    (kept / "page.html").write_text("{{ 2 | shown }}{{ 2 is odd }}")
    for word in ("one", "two"):
        forget()

        def change(env, word=word):
            env.filters["shown"] = env.tests["odd"] = lambda _: word

        assert text_of(kept, change) == word * 2


@pytest.fixture
def said(tmp_path):
    def said(text, **values):
        env = PackageEnvironment()
        env.loader = FileSystemLoader(str(tmp_path))
        (tmp_path / "page.html").write_text(text)
        return env.get_template("page.html").render(values)

    return said


def test_calls_are_as_python_has_them(said):
    values = {"a": "x", "d": {"k": 1}, "two": [2], "sum": lambda two, k: two + k}
    text = "{{ a.upper().center(5, '-') }}{{ d.k }}{{ sum(2, k=1) }}{{ sum(*two, **d) }}"
    assert said(text, **values) == "--X--133"
    macro = "{% macro m(a, b=2) %}{{ a }}{{ b }}{{ caller() }}{% endmacro %}"
    assert said(macro + "{% call m('<', b=3) %}&{% endcall %}") == "&lt;3&"


@pytest.mark.parametrize(
    "text", ["{{ no.name }}", "{{ no() }}", "{{ d.no }}", "{{ a.no }}", "{{ a.no() }}"]
)
def test_what_is_missing_is_refused(said, text):
    with pytest.raises(UndefinedError):
        said(text, a="x", d={"k": 1})


def test_a_folder_that_cannot_be_written_is_no_error(tmp_path):
    (tmp_path / "page.html").write_text("text")
    (tmp_path / "__pycache__").write_text("a file where the folder would be")
    assert text_of(tmp_path) == "text"


def test_nothing_is_kept_where_python_keeps_none(tmp_path, monkeypatch):
    monkeypatch.setattr(compiled.sys, "dont_write_bytecode", True)
    (tmp_path / "page.html").write_text("text")
    assert text_of(tmp_path) == "text"
    assert not (tmp_path / "__pycache__").exists()


def test_what_a_page_shows_is_released_with_it(tmp_path):
    """Else it would wait for the garbage collector, which has been told to come rarely."""
    (tmp_path / "parts.html").write_text("{% macro part() %}{{ view.shown }}{% endmacro %}")
    (tmp_path / "page.html").write_text(
        '{% from "parts.html" import part with context %}'
        "{% macro whole() %}{{ part() }}{% endmacro %}{% block body %}{{ whole() }}{% endblock %}"
    )
    env = PackageEnvironment()
    env.loader = FileSystemLoader(str(tmp_path))
    view = View()
    gone = weakref.ref(view)
    gc.disable()
    try:
        assert env.get_template("page.html").render(view=view) == "x"
        del view
        assert gone() is None
    finally:
        gc.enable()


class View:
    """What a page shows."""

    shown = "x"
