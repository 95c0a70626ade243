"""The package's own templates, compiled once and kept as Python keeps its compiled modules.

They are code that is run, so they lie in ``__pycache__`` beside the templates: whoever can write there can change
the compiled modules of the package as well. Nothing that a mill brings is kept.
"""

from __future__ import annotations

import functools
import marshal
import re
import sys
import threading
from collections.abc import Callable, Iterator, MutableMapping
from contextlib import contextmanager, suppress
from functools import partial
from hashlib import sha256
from importlib import resources
from importlib.machinery import SourceFileLoader
from importlib.util import MAGIC_NUMBER, cache_from_source
from pathlib import Path
from types import CodeType
from typing import Any, NoReturn

import jinja2
from jinja2 import BytecodeCache, Environment, FileSystemLoader, StrictUndefined, Template, nodes
from jinja2.bccache import Bucket
from jinja2.compiler import CodeGenerator, Frame
from jinja2.runtime import Context
from markupsafe import Markup, escape

from kilnfolio.runtime.files import read_file

_QUICKER = f"from {__name__} import escaped as escape"
"""The end of every compiled template. Jinja's own makes an object of each text, only to join them all."""

#: A digest of this module as it was loaded, which decides how templates are compiled.
_OURS = sha256(read_file(Path(__file__))).hexdigest()

#: Templates compiled or read in this process, by a digest of all that they depend on.
_COMPILED: dict[str, CodeType] = {}


class _Direct(CodeGenerator):
    """Writes calls and choices as Python has them.

    Jinja asks each function that is called whether it wants the context. Here only filters want it.
    """

    def visit_Call(self, node: nodes.Call, frame: Frame, forward_caller: bool = False) -> None:  # noqa: N802
        """Write a call."""
        if node.dyn_args or node.dyn_kwargs:
            super().visit_Call(node, frame, forward_caller=forward_caller)
            return
        self.visit(node.node, frame)
        self.write("(")
        for given in (*node.args, *node.kwargs):
            self.visit(given, frame)
            self.write(", ")
        self.write("caller=caller)" if forward_caller else ")")

    def visit_CondExpr(self, node: nodes.CondExpr, frame: Frame) -> None:  # noqa: N802
        """Write a choice; without ``else`` it is an empty text, not an object of Jinja that prints as one."""
        otherwise = node.expr2 or nodes.Const("")
        super().visit_CondExpr(nodes.CondExpr(node.test, node.expr1, otherwise), frame)


class _ToRelease(threading.local):
    """The contexts of this thread that `releasing_contexts` will empty; None outside of it."""

    contexts: list[Context] | None = None


_TO_RELEASE = _ToRelease()


class _Context(Context):
    """The names a template knows."""

    def __init__(self, *args: Any, **options: Any):
        super().__init__(*args, **options)
        if _TO_RELEASE.contexts is not None:
            _TO_RELEASE.contexts.append(self)


@contextmanager
def releasing_contexts() -> Iterator[None]:
    """Empty the contexts of the templates that are rendered inside the block.

    A macro is a variable of its template and refers to all the others, so each page, with all that
    it shows, would wait for the garbage collector. That took a twentieth of a build.
    """
    contexts: list[Context] = []
    outer, _TO_RELEASE.contexts = _TO_RELEASE.contexts, contexts
    try:
        yield
    finally:
        _TO_RELEASE.contexts = outer
        for context in contexts:
            context.vars.clear()


class PackageTemplate(Template):
    """A template that keeps nothing of what it has rendered."""

    def render(self, *args: Any, **kwargs: Any) -> str:
        """Return the rendered template."""
        with releasing_contexts():
            return super().render(*args, **kwargs)


class PackageEnvironment(Environment):
    """An environment of the package's templates: escaping on, missing names refused.

    Parameters
    ----------
    **options
        More options of Jinja.
    """

    code_generator_class = _Direct
    context_class = _Context
    template_class = PackageTemplate

    def __init__(self, **options: Any):
        super().__init__(
            loader=FileSystemLoader(str(resources.files("kilnfolio.site") / "templates")),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
            extensions=["jinja2.ext.i18n"],
            bytecode_cache=_Compiled(),
            **options,
        )

    def make_globals(self, d: MutableMapping[str, Any] | None) -> MutableMapping[str, Any]:
        """Return what every template knows; Jinja's chain of mappings is read in Python, key by key."""
        return super().make_globals(d) if d else self.globals

    def _generate(self, *template: Any, **options: Any) -> str:
        """Return a template's code, in which no filter has run yet: what they return may change."""
        later = self.overlay()
        for runs in ("filters", "tests"):
            setattr(later, runs, {name: _later(run) for name, run in getattr(self, runs).items()})
        return f"{Environment._generate(later, *template, **options)}\n{_QUICKER}\n"


def _later(run: Callable[..., Any]) -> Callable[..., Any]:
    @functools.wraps(run)  # it says whether it is given the context
    def refuse(*_: Any, **__: Any) -> NoReturn:
        raise nodes.Impossible

    return refuse


class _Compiled(BytecodeCache):
    """Keeps compiled templates in this process and, where their folder can be written, on disk."""

    def get_bucket(
        self, environment: Environment, name: str, filename: str | None, source: str
    ) -> Bucket:
        """Return the place of a compiled template: a file for each template and set of settings."""
        filename = filename or name
        settings = _settings(environment)
        file = cache_from_source(filename, optimization=settings[:12])
        depends = sha256(repr((MAGIC_NUMBER, filename, source, settings)).encode())
        bucket = Bucket(environment, file, depends.hexdigest())
        self.load_bytecode(bucket)
        return bucket

    def load_bytecode(self, bucket: Bucket) -> None:
        """Load a compiled template, if there is one."""
        if bucket.checksum not in _COMPILED:
            with suppress(OSError, EOFError, ValueError, TypeError):
                head, code = bucket.checksum.encode(), Path(bucket.key).read_bytes()
                if code.startswith(head):
                    _COMPILED[bucket.checksum] = marshal.loads(code[len(head) :])
        bucket.code = _COMPILED.get(bucket.checksum)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Save a template that was just compiled."""
        assert bucket.code
        _COMPILED[bucket.checksum] = bucket.code
        if not sys.dont_write_bytecode:
            code = bucket.checksum.encode() + marshal.dumps(bucket.code)
            SourceFileLoader("", "").set_data(bucket.key, code)  # silent where it cannot write


def _settings(env: Environment) -> str:
    """Return a digest of what decides how an environment compiles a template, besides its text."""
    plain = {name: v for name, v in vars(env).items() if v is None or isinstance(v, str | int)}
    called = [
        [name, str(getattr(run, "jinja_pass_arg", ""))]
        for runs in (env.filters, env.tests)
        for name, run in sorted(runs.items())
    ]
    options = sorted({**plain, **env.policies}.items()), sorted(env.extensions)
    return sha256(repr((_versions(), called, options)).encode()).hexdigest()


@functools.cache
def _versions() -> tuple[str, ...]:
    # what a template's constant texts become; asking which version escapes them takes 10 ms
    escaped_texts = str(escape("&<>\"'"))
    return jinja2.__version__, escaped_texts, _OURS


marked: Callable[[str], Markup] = partial(str.__new__, Markup)
"""Return a text that is HTML: as `Markup`, which asks first whether it is an object with HTML of its own."""

_special = re.compile("[&<>\"']").search


def escaped(value: Any) -> str:
    """Return a value as HTML, like `markupsafe.escape`, but plain text without markup as it is."""
    kind = type(value)
    if kind is str:
        return escape(value) if _special(value) else value
    return value if kind is Markup else escape(value)
