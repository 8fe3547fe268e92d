"""Compiled kernels on disk: found wherever they were put, loaded without what only compiling needs.

Three things are different from numba's own way of keeping them:

- Numba reads its tables of all that Python's and NumPy's functions compile to before it loads kept code, too; that
  takes longer than a small check. Kept code is whole and needs nothing of it. Where a kernel is compiled, the compiler
  reads the tables itself.
- Numba notices a change in a kernel's own file. Here a change in any kernel or constant that it calls or inlines,
  from whatever file, counts.
- Numba refuses to work where it can write nowhere, and looks in one place only. Here code beside the source is found
  although it cannot be written there (an installation by root, an image), and what cannot be kept is compiled again.

It leans on parts of numba that are not promised to stay. The lock files name the version, and tests hold all three.
"""

# What numba does not promise it does not type either.
# mypy: disable-error-code="no-untyped-call, attr-defined, call-arg, override, assignment, import-untyped"
from __future__ import annotations

import functools
import hashlib
import pickle
from collections.abc import Callable, Iterator
from contextlib import suppress
from types import CodeType
from typing import Any

from lintsvc.measure import numba_alone  # noqa: F401 - before numba

from llvmlite import binding as llvm  # isort: skip
from numba.core.caching import (  # isort: skip
    CompileResultCacheImpl,
    FunctionCache,
    IndexDataCacheFile,
    InTreeCacheLocator,
    UserProvidedCacheLocator,
    UserWideCacheLocator,
)
from numba.core.compiler import CompileResult  # isort: skip
from numba.core.dispatcher import Dispatcher  # isort: skip
from numba.core.runtime import _nrt_python  # isort: skip


#: Where in this process compiled code could not be kept, and why.
not_kept: list[str] = []
#: Where the types are in what is kept of a kernel.
_SIGNATURE = 3


class _Beside(InTreeCacheLocator):
    """Beside the source, whether it can be written there or not."""

    @classmethod
    def from_function(cls, py_func: Callable[..., Any], py_file: str) -> _Beside:
        return cls(py_func, py_file)


class _Places(CompileResultCacheImpl):
    """Where code is kept: the first of these that can be written."""

    _locator_classes = (UserProvidedCacheLocator, InTreeCacheLocator, UserWideCacheLocator, _Beside)

    def reduce(self, cres: CompileResult) -> tuple[Any, ...]:
        """Return what is kept: no text of the types, and of the functions within only those that use Python objects."""
        *rest, _, begin_again, environments = super().reduce(cres)
        return (*rest, "", begin_again, tuple(x for x in environments if x.consts))


class KeptCode(FunctionCache):
    """The code of one kernel on disk. The disk is looked at when the kernel is first called."""

    _impl_class = _Places

    def __init__(self, kernel: Callable[..., Any]) -> None:
        self._py_func = kernel
        self._name = repr(kernel)
        self.enable()

    @functools.cached_property
    def _impl(self) -> _Places:
        return _Places(self._py_func)

    @functools.cached_property
    def _cache_file(self) -> IndexDataCacheFile:
        return self._file_in(self._impl.locator.get_cache_path())

    @property
    def cache_path(self) -> str:
        path: str = self._impl.locator.get_cache_path()
        return path

    def _file_in(self, folder: str) -> IndexDataCacheFile:
        return IndexDataCacheFile(folder, self._impl.filename_base, self._impl.locator.get_source_stamp())

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Return the kernel for these types, None where it is not kept."""
        _name_runtime()
        key = self._index_key(sig, target_context.codegen())
        own = self.cache_path
        beside = _Beside(self._py_func, self._impl.locator._py_file).get_cache_path()
        for file in (self._cache_file, *(() if beside == own else (self._file_in(beside),))):
            data = None
            # A damaged file raises whatever it likes; it is as if it were not there.
            with suppress(Exception):
                data = file.load(key)
            # Two processes that compile at once may each have given the same file to code for other types.
            if data is not None and data[_SIGNATURE].args == tuple(sig):
                return _loaded(target_context, *data)
        return None

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep the kernel, where that can be done: a full disk or a folder that is read-only costs time, no check."""
        try:
            try:
                super().save_overload(sig, data)
            except (pickle.UnpicklingError, EOFError, ValueError):
                # The list of what is kept is damaged: begun anew.
                self.flush()
                super().save_overload(sig, data)
        except OSError as error:
            not_kept.append(f"{self.cache_path}: {error.strerror or error}")

    def _index_key(self, sig: Any, codegen: Any) -> Any:
        told = hashlib.sha256(repr(sorted(_used_by(self._py_func))).encode()).hexdigest()
        return (*super()._index_key(sig, codegen), told)


def _loaded(
    context: Any,
    library_data: tuple[str, str, Any],
    description: Any,
    environment: Any,
    signature: Any,
    in_objects: bool,
    lifted: Any,
    told_types: str,
    begin_again: Any,
    environments: Any,
) -> CompileResult:
    """Make a kernel of what was kept of it. As numba does it, but without asking LLVM for the name of each function
    in it: only the kernel's own is ever looked up; and the part that is for inlining is read when it is wanted."""
    name, kind, (code, for_inlining) = library_data
    if kind != "object" or begin_again:
        raise ValueError(f"{name} is not kept as whole machine code")
    library = context.codegen().create_library(name)
    library.enable_object_caching()
    library._set_compiled_object(code)
    library._finalize_final_module()
    library._get_module_for_linking = functools.partial(_read_for_inlining, library, for_inlining)
    library.codegen._engine._defined_symbols |= {
        description.llvm_func_name,
        description.llvm_cpython_wrapper_name,
        description.llvm_cfunc_wrapper_name,
    }
    entry = context.get_executable(library, description, environment)
    for each in environments:
        library.codegen.set_env(each.env_name, each)
    return CompileResult(
        target_context=context,
        typing_context=context.typing_context,
        library=library,
        environment=environment,
        entry_point=entry,
        fndesc=description,
        type_annotation=told_types,
        signature=signature,
        objectmode=in_objects,
        lifted=lifted,
        typing_error=None,
        call_helper=None,
        metadata=None,
        reload_init=begin_again,
        referenced_envs=environments,
    )


def _read_for_inlining(library: Any, data: bytes) -> Any:
    if library._shared_module is None:
        library._shared_module = llvm.parse_bitcode(data)
    return library._shared_module


def _used_by(kernel: Callable[..., Any]) -> set[str]:
    """What a kernel is made of: its own code, that of all kernels that it calls, and the constants they name."""
    found: set[str] = set()
    left, seen = [kernel], {kernel}
    while left:
        function = left.pop()
        found.add(repr((function.__qualname__, *_words(function.__code__))))
        for name in function.__code__.co_names:
            value = function.__globals__.get(name)
            if isinstance(value, Dispatcher):
                if value.py_func not in seen:
                    seen.add(value.py_func)
                    left.append(value.py_func)
            elif isinstance(value, int | float | str | tuple):
                found.add(f"{function.__module__} {name} {value!r}")
    return found


def _words(code: CodeType) -> Iterator[object]:
    yield code.co_code
    yield code.co_names
    yield tuple(x for x in code.co_consts if not isinstance(x, CodeType))


@functools.cache
def _name_runtime() -> None:
    """Tell LLVM where numba's memory functions are, which kept code calls: so does what reads the tables."""
    for name, address in _nrt_python.c_helpers.items():
        llvm.add_symbol(name if name.startswith("_") else f"NRT_{name}", address)
