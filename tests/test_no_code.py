"""Data stay data: nothing that a review folder, a stranger's zip or an author's text holds is executed."""

from __future__ import annotations

import ast
import json
import math
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest
import site_sample
from visits import Visit, needs_browser

import reviewkit
from reviewkit import commands
from reviewkit.errors import ReviewFileError
from reviewkit.execution.execute import execute, execute_in_kernel
from reviewkit.execution.papermill_run import Outcome, Task
from reviewkit.publishing import site
from reviewkit.publishing.site import context, exporter
from reviewkit.review import review_file

FILES = Path(__file__).parent / "files"
ROOT = Path(reviewkit.__file__).parent

# Where a module may do what could run code, and with what: a program of the kit's own, named in its source.
_ALLOWED = {
    # The last: what the user gives on the command line to be run on an alarm, without a shell.
    "subprocess": {
        *("reviewkit.execution.kernel", "reviewkit.execution.forkserver", "reviewkit.bench_day.follow"),
    },
    # It unpickles what comes from the other end, which is a process of the kit's own and of the same user.
    "multiprocessing": {"reviewkit.execution.forkserver", "reviewkit.execution.forked"},
    "importlib": {
        *(
            "reviewkit.sections.template",
            "reviewkit.execution.forked",
        ),
        # Versions and files of packages, no module loaded.
        *("reviewkit.pipeline.harvest", "reviewkit.publishing.site.context"),
        *("reviewkit.system.kit", "reviewkit.tables.headers"),
        # Where Python keeps what it has compiled; the kit's own templates are kept beside.
        "reviewkit.findings.compiled",
    },
}
# Sentences are plain text, which pages escape as any other.
_MAY = {("renders without autoescape", "reviewkit.findings.sentences")}
_CALLS = {"eval", "exec", "compile", "__import__", "execfile"}
_METHODS = {
    "system",
    "popen",
    "read_pickle",
    "unsafe_load",
    "full_load",
    "load_all",
    "from_pickle",
    "startfile",
}
_LIBRARIES = {
    "pickle",
    "cPickle",
    "dill",
    "cloudpickle",
    "joblib",
    "marshal",
    "shelve",
    "runpy",
    "code",
    "codeop",
}


def sources() -> list[Path]:
    return sorted(ROOT.rglob("*.py"))


def risks(tree: ast.AST, module: str) -> Iterator[str]:
    """Walk what in a module could run data as code."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom):
            yield from _imported(node, module)
        elif isinstance(node, ast.Call):
            yield from (found for found in _called(node) if (found, module) not in _MAY)


def _imported(node: ast.Import | ast.ImportFrom, module: str) -> Iterator[str]:
    names = [node.module or ""] if isinstance(node, ast.ImportFrom) else [item.name for item in node.names]
    for name in (name.partition(".")[0] for name in names):
        if name in _LIBRARIES or (name in _ALLOWED and module not in _ALLOWED[name]):
            yield f"imports {name}"


def _called(node: ast.Call) -> Iterator[str]:
    if isinstance(node.func, ast.Name) and node.func.id in _CALLS:
        yield f"calls {node.func.id}"
    if isinstance(node.func, ast.Attribute) and (
        node.func.attr in _METHODS or (_is_frame(node.func) and node.func.attr in ("eval", "query"))
    ):
        yield f"calls .{node.func.attr}"
    if ast.unparse(node.func) == "yaml.load" and "Loader=_Loader" not in map(ast.unparse, node.keywords):
        yield "loads YAML with another loader"
    yield from _passed(node)


def _passed(node: ast.Call) -> Iterator[str]:
    for item in node.keywords:
        if item.arg in ("shell", "allow_pickle") and ast.unparse(item.value) != "False":
            yield f"passes {item.arg}"
        if item.arg == "autoescape" and ast.unparse(item.value) != "True":
            yield "renders without autoescape"


def _is_frame(node: ast.Attribute) -> bool:
    # A browser's page has a method of that name too, which runs in the browser.
    return isinstance(node.value, ast.Name) and "frame" in node.value.id


def test_no_module_runs_data(record_property: Callable[[str, object], None]) -> None:
    found = {}
    for path in sources():
        module = ".".join(path.relative_to(ROOT.parent).with_suffix("").parts).removesuffix(".__init__")
        if risky := list(risks(ast.parse(path.read_text(encoding="utf-8")), module)):
            found[module] = risky
    assert found == {}
    record_property("figure", f"{len(sources())} modules read: none runs, unpickles or imports what data say")


@pytest.mark.parametrize(
    "line",
    [
        *("eval(text)", "exec(text)", "import pickle", "from pickle import loads", "import dill as d"),
        *(
            "yaml.load(text, Loader=yaml.Loader)",
            "yaml.load(text)",
            "yaml.unsafe_load(text)",
            "os.system(text)",
        ),
        *(
            "run(text, shell=True)",
            "np.load(path, allow_pickle=True)",
            "frame.query(text)",
            "import subprocess",
        ),
        "Environment(autoescape=False)",
    ],
)
def test_the_search_knows_what_it_looks_for(line: str) -> None:
    assert list(risks(ast.parse(line), "reviewkit.any"))


def test_yaml_is_read_by_the_safe_loader() -> None:
    from yaml import SafeLoader

    from reviewkit.schema import plain_yaml

    assert issubclass(plain_yaml._Loader, SafeLoader)


def test_no_page_prints_a_text_as_it_is() -> None:
    """No template switches the escaping off."""
    pages = list(context.templates().glob("*.j2"))
    assert len(pages) > 3
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert "| safe" not in text
        assert "|safe" not in text
        assert "autoescape" not in text
    assert exporter.exporter().environment.autoescape is True


PLANTED = (
    *(
        "numpy.py",
        "pandas.py",
        "plotly.py",
        "IPython.py",
        "json.py",
        "re.py",
        "nbformat.py",
        "usercustomize.py",
    ),
    *("sitecustomize.py", "conftest.py", "ipython_config.py", "ipykernel.py", "startup.py", "lamp.py"),
    *("reviewkit/__init__.py", "reviewkit/findings.py", "templates/__init__.py", "logs/__init__.py"),
    *("profile_default/startup/00.py", ".ipython/profile_default/startup/00.py", "pyarrow.py", "black.py"),
)


@pytest.mark.parametrize("how", [execute, execute_in_kernel])
def test_modules_and_templates_in_a_review_folder_are_data(
    tmp_path: Path, how: Callable[[Task], Outcome], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Programs of every name that a section imports lie beside the logs, and templates; none is run."""
    folder, mark = _trapped(tmp_path)
    monkeypatch.chdir(folder)
    outcome = how(Task(_importing(tmp_path / "importing.ipynb"), {}, folder))
    assert outcome.message == ""
    assert not mark.exists()
    assert "module from elsewhere" in outcome.notebook


def _trapped(tmp_path: Path) -> tuple[Path, Path]:
    folder, mark = Path(shutil.copytree(FILES / "lantern", tmp_path / "lantern")), tmp_path / "mark"
    code = f"open({str(mark)!r}, 'a').write(__file__)\n"
    for name in PLANTED:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(code, encoding="utf-8")
    notebook = json.loads((FILES / "templates" / "lamp.ipynb").read_text(encoding="utf-8"))
    notebook["cells"][2]["source"] = code.replace("__file__", "'notebook'")
    for name in ("lamp.ipynb", "templates/lamp.ipynb", "summary.ipynb", "logs/charge.ipynb"):
        (folder / name).write_text(json.dumps(notebook), encoding="utf-8")
    return folder, mark


def _importing(path: Path) -> Path:
    """Write a template that imports what a section does, and looks where it came from."""
    lines = (
        "import importlib, json, re, sys\nfrom pathlib import Path\nimport numpy, pandas, plotly, reviewkit\n"
        "from reviewkit.findings import Finding\n"
        "for name in ('lamp', 'startup', 'black', 'templates.x', 'logs.x'):\n"
        "    try:\n        importlib.import_module(name)\n    except ImportError:\n        pass\n"
        "here = [place for place in sys.path if Path(place or '.').resolve() == Path.cwd()]\n"
        "'module from elsewhere' if not here else here"
    )
    notebook = json.loads((FILES / "templates" / "lamp.ipynb").read_text(encoding="utf-8"))
    notebook["cells"][3]["source"] = lines
    path.write_text(json.dumps(notebook), encoding="utf-8")
    return path


def test_a_whole_run_takes_no_template_from_a_review_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, mark = _trapped(tmp_path)
    monkeypatch.chdir(folder)
    (done,) = commands.run(folder, out=tmp_path / "site", only_templates=[FILES / "templates"])
    assert not done.is_draft
    assert [result.section.path.parent for result in done.review.sections] == [FILES / "templates"] * 2
    assert commands.check(folder, only_templates=[FILES / "templates"]) == ()
    (verified,) = reviewkit.verify(done.place, only_templates=[FILES / "templates"])
    assert verified.stands
    assert not mark.exists()


TEXTS = (
    *(
        "",
        " ",
        "'",
        '"',
        "'''",
        '"""',
        "\\",
        "\\'",
        '\\"',
        "\n",
        "\r\n",
        "\t",
        "a\nb\n",
        "\\n",
        "\0",
        "\x1b[31m",
    ),
    *(
        "{{ 7 * 7 }}",
        "{% raw %}",
        "{x}",
        "{",
        "}",
        "%s",
        "${HOME}",
        "$(touch x)",
        "`touch x`",
        "#",
        "# x\nimport os",
    ),
    *(
        "__import__('os').system('touch x')",
        "'); open('x', 'w') #",
        '"""); open("x", "w") #',
        "\\x27); 1/0 #",
    ),
    *("None", "True", "nan", "1", "1e3", "0x10", "[1]", "{'a': 1}", "lambda: 0", "!!python/object:os.system"),
    *("é", "日本語", "\U0001f526", "\u2028\u2029\u0085", "\ufeff", "\u202e"),
    "x" * 200_000,
)
NUMBERS = (0, -1, 10**30, 0.1, -0.0, 1e300, 5e-324, math.inf, -math.inf, math.nan, True, False, None)


def test_parameters_reach_the_notebook_as_equal_values(
    tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """Each text comes out as it went in, as a value, a key, and deep inside; nothing of it is evaluated."""
    given = {"texts": list(TEXTS), "keys": {text: text for text in TEXTS}, "deep": [[{"a": [list(TEXTS)]}]]}
    given |= {"numbers": list(NUMBERS)}
    lines = "import json\njson.dumps([texts, keys, deep, [repr(item) for item in numbers]])"
    template = json.loads((FILES / "templates" / "lamp.ipynb").read_text(encoding="utf-8"))
    template["cells"][1]["source"] = "texts: list = []\nkeys: dict = {}\ndeep: list = []\nnumbers: list = []"
    template["cells"][2:] = [{**template["cells"][3], "source": f"{lines}"}]
    path = tmp_path / "given.ipynb"
    path.write_text(json.dumps(template), encoding="utf-8")
    (tmp_path / "review").mkdir()
    outcome = execute(Task(path, given, tmp_path / "review"))
    assert (outcome.message, outcome.detail) == ("", "")
    shown = nbformat.reads(outcome.notebook, as_version=4).cells[-1].outputs[-1].data["text/plain"]
    told = json.loads(ast.literal_eval(shown))
    assert told == [given["texts"], given["keys"], given["deep"], [repr(item) for item in NUMBERS]]
    assert list((tmp_path / "review").iterdir()) == []
    record_property(
        "figure", f"{len(TEXTS)} hostile texts and {len(NUMBERS)} numbers reached a notebook as given"
    )


def test_half_a_character_is_refused_before_anything_runs(tmp_path: Path) -> None:
    (tmp_path / "review.yaml").write_text('device: {name: "a \\ud800 b"}\n', encoding="utf-8")
    faults: list[Any] = []
    assert review_file.read_values(tmp_path, faults) == {}
    assert [type(fault) for fault in faults] == [ReviewFileError]
    assert "half a character" in faults[0].message


INJECTED = """
<script>document.title = "taken"</script>
<script src="data:text/javascript,document.title='taken'"></script>
<img src="x:y" onerror="document.title='taken'">
<svg onload="document.title='taken'"><script>document.title='taken'</script></svg>
<a id="trap" href="javascript:void(document.title='taken')">here</a>
<iframe srcdoc="<script>parent.document.title='taken'</script>"></iframe>
<iframe src="javascript:parent.document.title='taken'"></iframe>
<object data="data:text/html,<script>parent.document.title='taken'</script>"></object>
<form id="form" action="https://example.org/"><button id="send">send</button></form>
<base href="https://example.org/"><link rel="stylesheet" href="https://example.org/x.css">
<video src="https://example.org/x.mp4" autoplay></video><embed src="https://example.org/x">
"""


_DIRECTIVES = ("script-src", "img-src", "style-src", "media-src", "default-src", "base-uri", "form-action")


@needs_browser
@pytest.mark.browser
@pytest.mark.parametrize("name", ["plain/index.html", "plain/charge.html", "plain/plain.html", "index.html"])
def test_the_policy_of_a_page_stops_what_got_past_everything_else(
    browser: Any, tmp_path: Path, name: str
) -> None:
    """Markup that runs or fetches is put into the file itself: the browser refuses all of it."""
    reviewed = site_sample.reviewed(tmp_path / "folder" / "plain", tmp_path / "plain")
    site.write_review(reviewed)
    site.join(tmp_path / "plain", "plain", sections=["charge.html"], carried="")
    site.write_list(tmp_path)
    page = tmp_path / name
    text = page.read_text(encoding="utf-8")
    assert text.count("</main>") == 1
    page.write_text(text.replace("</main>", f"{INJECTED}</main>"), encoding="utf-8")
    with Visit(browser, page) as visit:
        title = visit.page.title()
        visit.page.locator("#trap").click(no_wait_after=True)
        visit.page.wait_for_timeout(200)
        assert visit.page.title() == title != "taken"
        # A form that is refused leaves an empty page behind.
        visit.page.locator("#send").click(no_wait_after=True)
        refused = _refused(visit, until="form-action")
        assert refused.count("JavaScript URL") == 2
        assert refused.count("inline script") == 3
        assert refused.count("inline event handler") == 2
        assert {word for word in _DIRECTIVES if word in refused} == set(_DIRECTIVES)


def _refused(visit: Visit, until: str) -> str:
    """Return what the browser says that it refused; it tells of each in its own time."""
    for _ in range(50):
        visit.page.wait_for_timeout(200)
        refused = "\n".join(line for line in visit.said if "Content Security Policy" in line)
        if until in refused:
            break
    return refused


def test_links_that_run_are_no_links(tmp_path: Path) -> None:
    """In an author's words, an extra page, a maker's claim and a table of any library's."""
    from reviewkit.publishing.site import bundles, prose

    for address in (
        "javascript:x",
        "JaVaScRiPt:x",
        "java\nscript:x",
        "data:text/html,x",
        "vbscript:x",
        " javascript:x",
    ):
        html, _ = prose.rendered(f"[here]({address}) [there][1] <{address}>\n\n[1]: {address}", taken=set())
        assert not re.search(r"href=.\s*(javascript|data|vbscript):", html, re.IGNORECASE)
        assert "href" not in bundles.cleaned(f'<a href="{address}">x</a>')
