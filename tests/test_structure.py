"""Rules of the project that a script can check: imports flow one way, kernels, docstrings."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "simkit"
FILES = sorted(PACKAGE.rglob("*.py"))

# In the order the data flows; a room imports earlier rooms and the base, never a later one.
BASE = ["errors", "units", "frames", "kinds", "cache", "preparing", "blas", "_compiler", "_jit", "cutters"]
STAGES = [
    "job",
    "program",
    "moves",
    "stock",
    "machine",
    "effort",
    "target",
    "compare",
    "findings",
    "budget",
    "check",
    "warm",
    "report",
    "fields",
    "resume",
    "view",
    "draft",
    "runs",
    "page",
    "api",
    "pytest_plugin",
    "commands",
    "cli",
    "__main__",
]
# `job` stands before `program` for its programs' names; `moves` is the table that `program` fills.
RANK = {**dict.fromkeys(BASE, 0), **{room: rank for rank, room in enumerate(STAGES, 1)}, "moves": 1, "job": 1}


def room_of(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def imports_of(path: Path) -> list[tuple[int, str]]:
    """Lines and module names of everything of simkit that a file imports, anywhere in it."""
    found = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "simkit":
            found.append((node.lineno, node.module))
            if node.module == "simkit":
                found.extend((node.lineno, f"simkit.{alias.name}") for alias in node.names)
        elif isinstance(node, ast.Import):
            found.extend(
                (node.lineno, alias.name) for alias in node.names if alias.name.startswith("simkit.")
            )
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_imports__flow_one_way(path):
    room = room_of(path)
    if room == "__init__":
        assert imports_of(path) == []
        return
    assert room in RANK, f"{room} is not in the list of rooms"
    for line, module in imports_of(path):
        parts = module.split(".")
        if len(parts) < 2:
            continue
        other = parts[1]
        if other in RANK:
            assert RANK[other] <= RANK[room], f"{path.name}:{line}: {room} imports the later room {other}"


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_public_functions__have_docstrings(path):
    tree = ast.parse(path.read_text("utf-8"))
    assert ast.get_docstring(tree), f"{path.name} does not say what it is for"
    for node in tree.body:
        members = node.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_") else []
        for one in (node, *members):
            is_public = isinstance(one, ast.FunctionDef | ast.ClassDef) and not one.name.startswith("_")
            if is_public and not path.name.endswith("_kernels.py"):
                assert ast.get_docstring(one), f"{path.name}:{one.lineno}: {one.name} has no docstring"


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_kernels__take_their_options_from_one_place(path):
    text = path.read_text("utf-8")
    if path.name not in ("_jit.py", "_compiler.py"):
        assert "numba" not in text.replace("numba kernel", ""), f"{path.name} names numba itself"
    if "_jit import" in text and path.name != "_jit.py":
        is_kernel_file = path.name.endswith("_kernels.py")
        uses_kernel = "kernel" in text.split("_jit import", 1)[1].splitlines()[0]
        assert is_kernel_file or not uses_kernel, f"{path.name}: kernels belong in *_kernels.py"


@pytest.mark.parametrize(
    "arguments",
    [
        ["--help"],
        ["--version"],
        ["check", "--help"],
        ["check", "missing.toml"],
        ["check", "missing.nc"],
        ["read", "--help"],
        ["read", "missing.nc"],
        ["draft", "--help"],
        ["draft", "missing"],
        ["watch", "--help"],
        ["watch", "missing"],
        ["view", "--help"],
        ["view", "missing"],
        ["page", "--help"],
        ["page", "--port", "missing"],
    ],
    ids=" ".join,
)
def test_import__nothing_heavy_before_there_is_something_to_check(arguments, tmp_path):
    code = (
        "import sys\n"
        "from simkit.cli import main\n"
        f"status = main({arguments!r})\n"
        "heavy = {'numba', 'scipy', 'trimesh', 'pyvista', 'vtk', 'matplotlib', 'rich'} & set(sys.modules)\n"
        "print('status', status, 'heavy', sorted(heavy))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path, check=True
    )
    expected = 2 if "missing" in arguments[-1] else 0
    assert done.stdout.splitlines()[-1] == f"status {expected} heavy []"


def test_top_level__holds_only_what_was_agreed():
    listed = subprocess.run(
        ["git", "ls-files"], capture_output=True, text=True, cwd=PACKAGE.parent, check=False
    ).stdout.split()
    if not listed:
        pytest.skip("not a git checkout")
    agreed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "simkit",
        "tests",
        "samples",
        "benchmarks",
    }
    visible = {name.split("/")[0] for name in listed if not name.startswith(".")}
    assert visible <= agreed
