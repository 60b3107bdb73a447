"""The rules of this house that no linter knows. Each takes a checkout and yields a line for whatever breaks it."""

import ast
import re
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path

LONGEST_MODULE = 300
VAGUE = {"utils", "helpers", "common", "misc", "core", "base", "services", "manager"}
# A tag or comment of the template language becomes a blank, and what it stands for a word.
_TAG, _VALUE = re.compile(r"{%.*?%}|{#.*?#}", re.DOTALL), re.compile(r"{{.*?}}", re.DOTALL)
_VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
# Whoever answers a request, runs an errand or is typed as a command knows the hour; everybody else is told it.
_MAY_READ_THE_CLOCK = re.compile(
    r"(?:[\w/]+/)?(?:views\.py|views/\w+\.py|tasks\.py|management/commands/\w+\.py)"
    r"|clientportal/access\.py"  # the door around the portal's views
    r"|studio/running/\w+\.py"  # looks after processes, and knows no record
)
_CLOCKS = {
    "timezone": {"now"},
    "datetime": {"now", "utcnow", "today"},
    "date": {"today"},
    "time": {"time", "time_ns", "localtime", "gmtime", "ctime"},
}
_CLOCK_MODULES = {"time", "django.utils.timezone"}

Rule = Callable[[Path], Iterator[str]]


def modules(root: Path) -> Iterator[tuple[str, str]]:
    """Path and text of every module of ours that somebody wrote, migrations aside."""
    for package in ("studio", "clientportal"):
        for path in sorted((root / package).rglob("*.py")):
            if "migrations" not in path.parts:
                yield path.relative_to(root).as_posix(), path.read_text()


def nodes(root: Path) -> Iterator[tuple[str, ast.AST]]:
    for path, text in modules(root):
        yield from ((path, node) for node in ast.walk(ast.parse(text)))


def templates(root: Path) -> Iterator[tuple[str, str]]:
    for package in ("studio", "clientportal"):
        for path in sorted((root / package).rglob("*.html")):
            yield path.relative_to(root).as_posix(), path.read_text()


def is_letter(path: str) -> bool:
    return "/letters/" in path


def no_module_is_long(root: Path) -> Iterator[str]:
    for path, text in modules(root):
        if (lines := len(text.splitlines())) > LONGEST_MODULE:
            yield f"{path} has {lines} lines"


def no_name_is_vague(root: Path) -> Iterator[str]:
    for path, _ in modules(root):
        if VAGUE & {part.lstrip("_") for part in path.removesuffix(".py").split("/")}:
            yield f"{path} does not say what is in it"


def tasks_are_nudges(root: Path) -> Iterator[str]:
    for path, node in nodes(root):
        if isinstance(node, ast.FunctionDef) and any(_is_task(decorator) for decorator in node.decorator_list):
            statements = sum(isinstance(inner, ast.stmt) for inner in ast.walk(node)) - 1
            given = node.args
            arguments = [*given.posonlyargs, *given.args, *given.kwonlyargs]
            if statements > 5:
                yield f"{path}: the task {node.name} has {statements} statements"
            if len(arguments) > 1 or given.vararg or given.kwarg:
                yield f"{path}: the task {node.name} takes more than an id"
            if any(not isinstance(one.annotation, ast.Name) or one.annotation.id != "str" for one in arguments):
                yield f"{path}: the task {node.name} takes something else than an id"


def _is_task(decorator: ast.expr) -> bool:
    name = decorator.func if isinstance(decorator, ast.Call) else decorator
    return (isinstance(name, ast.Attribute) and name.attr == "task") or (
        isinstance(name, ast.Name) and name.id == "shared_task"
    )


def only_the_edges_read_the_clock(root: Path) -> Iterator[str]:
    for path, node in nodes(root):
        if not _MAY_READ_THE_CLOCK.fullmatch(path) and (what := _clock(node)):
            yield f"{path} reads the clock by {what}"


def _clock(node: ast.AST) -> str:
    """The name of the clock that this node reads, or nothing."""
    if isinstance(node, ast.ImportFrom) and node.module in _CLOCK_MODULES:
        known = {"now", *_CLOCKS["time"]}
        return ", ".join(alias.name for alias in node.names if alias.name in known)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and not node.args and not node.keywords:
        return node.func.attr if node.func.attr in {"localdate", "localtime"} else ""
    if isinstance(node, ast.Attribute):
        of = node.value.attr if isinstance(node.value, ast.Attribute) else getattr(node.value, "id", "")
        return f"{of}.{node.attr}" if node.attr in _CLOCKS.get(of, set()) else ""
    return ""


def one_module_opens_pictures(root: Path) -> Iterator[str]:
    for path, node in nodes(root):
        for name in _imported(node):
            if name.split(".")[0] in {"PIL", "pillow_heif"} and path != "studio/workshop/imaging.py":
                yield f"{path} opens pictures"


def _imported(node: ast.AST) -> list[str]:
    """Everything that this statement imports, each with its module."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        return [f"{node.module or ''}.{alias.name}" for alias in node.names]
    return []


def nothing_happens_unseen(root: Path) -> Iterator[str]:
    """No signals, no save() or delete() of a model's own, no hour that a field takes by itself."""
    for path, node in nodes(root):
        for name in _imported(node):
            if re.match(r"django\.dispatch\b|django\.db\.models\.signals|django\.core\.signals|.*\.signals$", name):
                yield f"{path} uses signals"
        if isinstance(node, ast.ClassDef) and "/models/" in path:
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef) and inner.name == "save":
                    yield f"{path}: {node.name} has a save() of its own"
        if isinstance(node, ast.keyword) and node.arg in {"auto_now", "auto_now_add"}:
            yield f"{path} uses {node.arg}"
        if isinstance(node, ast.keyword) and node.arg == "default" and _clock(node.value):
            yield f"{path} has a field whose default is the clock"


def views_are_functions(root: Path) -> Iterator[str]:
    for path, node in nodes(root):
        for name in _imported(node):
            if name.startswith("django.views.generic") or name in {"django.views.View", "django.views"}:
                yield f"{path} uses class-based views"
        if isinstance(node, ast.Attribute) and node.attr == "as_view":
            yield f"{path} uses as_view()"


def a_template_is_a_page_or_a_part(root: Path) -> Iterator[str]:
    """A page extends a base. A part extends nothing, and one that a view answers with has one root with an id."""
    answered = _answered_parts(root)
    for path, text in templates(root):
        name = path.rpartition("/")[2]
        extends = bool(re.match(r"\s*{%\s*extends\s", text))
        if name.startswith("_"):
            if extends or "<html" in text:
                yield f"{path} is a part and extends a page"
            if any(path.endswith(f"/{part}") for part in answered):
                roots = Tree(text).roots
                if len(roots) != 1 or "id" not in roots[0]:
                    yield f"{path} is swapped in and has no single root with an id"
        elif not extends and not name.startswith("base") and not is_letter(path):
            yield f"{path} is a page and extends no base"


def _answered_parts(root: Path) -> set[str]:
    """The parts that views name when they answer."""
    calls = (node for _, node in nodes(root) if isinstance(node, ast.Call))
    answers = (call for call in calls if isinstance(call.func, ast.Name) and call.func.id in {"render", "render_part"})
    words = (word.value for call in answers for word in call.args if isinstance(word, ast.Constant))
    return {word for word in words if isinstance(word, str) and re.search(r"(^|/)_[\w-]+\.html$", word)}


def pages_bear_a_strict_policy(root: Path) -> Iterator[str]:
    """No style attribute, no script and no handler in the page itself, no hour of the template's own."""
    for path, text in templates(root):
        if re.search(r"{%\s*now\b", text):
            yield f"{path} asks for the hour"
        if is_letter(path):
            continue
        for tag, given in Tree(text).tags:
            if "style" in given:
                yield f"{path}: <{tag}> has a style attribute"
            if tag == "script" and "src" not in given:
                yield f"{path} has a script in it"
            if handlers := [name for name in given if name.startswith("on")]:
                yield f"{path}: <{tag}> has {handlers[0]}"


def htmx_only_hastens(root: Path) -> Iterator[str]:
    """What htmx asks for, a link or a form asks for too."""
    for path, text in templates(root):
        yield from (f"{path}: {problem}" for problem in Tree(text).without_script)


class Tree(HTMLParser):
    """What a template's own elements are, whatever its tags decide."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.roots: list[dict[str, str]] = []
        self.without_script: list[str] = []
        self._open: list[tuple[str, dict[str, str]]] = []
        self.feed(_VALUE.sub("x", _TAG.sub(" ", text)))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {
            name.removeprefix("data-") if name.startswith("data-hx-") else name: value or "" for name, value in attrs
        }
        self.tags.append((tag, given))
        if not self._open:
            self.roots.append(given)
        if "hx-get" in given and not (tag == "a" and "href" in given) and not (tag == "form" and "action" in given):
            self.without_script.append(f"<{tag}> has hx-get and no href")
        writes = {"hx-post", "hx-put", "hx-patch", "hx-delete"} & set(given)
        forms = [inside for name, inside in [*self._open, (tag, given)] if name == "form"]
        if writes and not any(form.get("method", "").lower() == "post" for form in forms):
            self.without_script.append(f"<{tag}> has {writes.pop()} outside a form that posts")
        if tag not in _VOID:
            self._open.append((tag, given))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        places = [place for place, (name, _) in enumerate(self._open) if name == tag]
        if places:
            del self._open[places[-1] :]

    def handle_data(self, data: str) -> None:
        if data.strip() and not self._open:
            self.roots.append({})  # words beside the root are a root too


RULES: tuple[Rule, ...] = (
    no_module_is_long,
    no_name_is_vague,
    tasks_are_nudges,
    only_the_edges_read_the_clock,
    one_module_opens_pictures,
    nothing_happens_unseen,
    views_are_functions,
    a_template_is_a_page_or_a_part,
    pages_bear_a_strict_policy,
    htmx_only_hastens,
)
