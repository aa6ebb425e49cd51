"""How kernels are compiled: as numba does it, less what no kernel here needs.

numba optimises every function with all that it calls inside, and then makes machine code of it, so that
Python could call it.  A kernel that only kernels call needs none: all it does is inside of its callers.
And numba asks some dozens of candidates what `+` of two numbers is, wherever one stands, and LLVM how large
a number is, for every variable; here the answers are kept.  None of this changes the code that is made.

Goes by what numba has for others to extend: a class of compiler with passes of its own ("Customizing the
compiler" in its manual), a library of code, a cache.  Inside them private names are used: `_jit` takes this
only with versions of numba it was tried with.
"""

from __future__ import annotations

from llvmlite import binding
from numba import _dynfunc
from numba.core import caching, compiler, types
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler_machinery import register_pass
from numba.core.targetconfig import ConfigStack
from numba.core.typed_passes import InlineOverloads, NativeLowering, NopythonRewrites, NopythonTypeInference
from numba.core.untyped_passes import InlineClosureLikes

_NUMBERS = (types.Number, types.Boolean)
_KNOWN: dict[str, dict] = {}  # by flags: signatures by function and types of arguments
_SIZES: dict[str, int] = {}  # by the name of a type of LLVM: bytes
# What no kernel here has: functions within functions, formulas of whole arrays.
_LEFT_OUT = (InlineClosureLikes, InlineOverloads, NopythonRewrites)
_HASH = hash(compiler.Flags())  # numba's own is made of the options' names alone: the same for all


class Flags(compiler.Flags):
    """Options of compiling that are quick to compare, which is done hundred thousands of times.

    Equal to other flags whenever those of numba are.  Symbols have the name of the class in theirs.
    """

    __slots__ = ()

    def __hash__(self):
        return _HASH

    def __eq__(self, other):
        if not isinstance(other, compiler.Flags):
            return NotImplemented
        if self._values == other._values:
            return True
        return all(getattr(self, k) == getattr(other, k) for k in self._values.keys() | other._values.keys())


class _Typing:
    """numba's typing context, which remembers what functions of plain numbers return.

    The answer depends on the function, the types of its arguments and the flags alone.  What else a call
    may be (of a kernel, with arrays, by name) is left to numba.
    """

    def __init__(self, context, flags):
        self._context = context
        # numba's own functions are compiled anew for each set of options; these are all that matter to them.
        self._flags = Flags()
        self._flags.nrt, self._flags.fastmath = flags.nrt, flags.fastmath
        self._flags.error_model, self._flags.forceinline = flags.error_model, flags.forceinline
        self._plain = self._flags.copy()  # of functions of numbers, which are small
        self._plain.forceinline = True
        self._known = _KNOWN.setdefault(self._plain.summary(), {})

    def __getattr__(self, name):
        return getattr(self._context, name)

    def resolve_function_type(self, func, args, kws):
        """Return the signature of a call, or None."""
        if type(func) is not types.Function:
            return self._context.resolve_function_type(func, args, kws)
        if kws or not all(isinstance(one, _NUMBERS) for one in args):
            with ConfigStack().enter(self._flags):
                return self._context.resolve_function_type(func, args, kws)
        key = (func, tuple(args))
        if key not in self._known:
            with ConfigStack().enter(self._plain):
                found = self._context.resolve_function_type(func, args, kws)
            if found is None:  # perhaps it is asked before all is known
                return None
            self._known[key] = found
        return self._known[key]


class _Library(JITCodeLibrary):
    """The code of an entry."""

    def _optimize_functions(self, ll_module):
        """As numba's, but with one manager of passes for all functions, and none for mere names."""
        ll_module.data_layout = self._codegen._data_layout
        manager = None
        for function in ll_module.functions:
            if not function.is_declaration:
                manager = manager or self._codegen._function_pass_manager()
                manager[0].run(function, manager[1])


class _InnerLibrary(_Library):
    """The code of a kernel that only kernels call: optimised, but no machine code is made of it."""

    def _finalize_final_module(self):
        self._finalize_dynamic_globals()
        self._finalized = True


class _LateLibrary(_InnerLibrary):
    """The code of a kernel that is optimised in its callers alone."""

    def _optimize_final_module(self):
        pass


def _handle(fndesc, env, library):
    """Return what stands for an inner kernel in numba's tables; there is no code behind it."""
    name = fndesc.qualname.split(".")[-1]
    return _dynfunc.make_function(fndesc.lookup_module(), name, "", 0, env, (library,))


@register_pass(mutates_CFG=True, analysis_only=False)
class _Infer(NopythonTypeInference):
    _name = "kernel_type_inference"

    def run_pass(self, state):
        context, target = state.typingctx, state.targetctx
        state.typingctx = _Typing(context, state.flags)
        try:
            return super().run_pass(state)
        finally:
            state.typingctx = context
            type(target).refresh(target)  # an instruction of ours is only known once a call of it was typed


@register_pass(mutates_CFG=True, analysis_only=False)
class _LowerEntry(NativeLowering):
    _name = "entry_lowering"
    library_class = _Library

    def run_pass(self, state):
        if state.library is None:
            name = state.func_id.func_qualname
            state.library = self.library_class(state.targetctx.codegen(), name)
            state.library.enable_object_caching()
        return super().run_pass(state)


@register_pass(mutates_CFG=True, analysis_only=False)
class _LowerInner(_LowerEntry):
    _name = "inner_lowering"
    library_class = _InnerLibrary

    def run_pass(self, state):
        state.flags.no_compile = True  # or its machine code would be asked for
        super().run_pass(state)
        library, lowered = state.library, state["cr"]
        library._ensure_finalized()
        handle = _handle(lowered.fndesc, lowered.env, library)
        state.targetctx.insert_user_function(handle, lowered.fndesc, [library])
        state.reload_init.extend(library._reload_init)
        state["cr"] = lowered._replace(cfunc=handle)
        return True


@register_pass(mutates_CFG=True, analysis_only=False)
class _LowerLate(_LowerInner):
    _name = "late_lowering"
    library_class = _LateLibrary


class EntryCompiler(compiler.CompilerBase):
    """Compiles a kernel that Python calls."""

    lowering = _LowerEntry

    def __init__(self, *words):
        super().__init__(*words)
        self.state.flags = Flags(self.state.flags)
        target = self.state.targetctx  # of this kernel alone
        asked = target.get_abi_sizeof

        def size_of(kind):
            name = str(kind)
            if name not in _SIZES:
                _SIZES[name] = asked(kind)
            return _SIZES[name]

        target.get_abi_sizeof = size_of
        target.refresh = lambda: None  # all that is known of numba's functions was asked just now

    def define_pipelines(self):
        """Return numba's passes with two of them exchanged."""
        manager = compiler.DefaultPassBuilder.define_nopython_pipeline(self.state)
        own = {NativeLowering: self.lowering, NopythonTypeInference: _Infer}
        manager.passes[:] = [
            (own.get(one, one), told) for one, told in manager.passes if one not in _LEFT_OUT
        ]
        manager._ENFORCING = False  # lives of variables anew after each pass: those that need them ask
        manager._finalized = False
        manager.finalize()
        return [manager]


class InnerCompiler(EntryCompiler):
    """Compiles a kernel that only kernels call."""

    lowering = _LowerInner


class LateCompiler(EntryCompiler):
    """Compiles a kernel that is optimised in its callers alone."""

    lowering = _LowerLate


class _InnerImpl(caching.CompileResultCacheImpl):
    """What is stored of an inner kernel, for other processes and signatures: its code before machine code."""

    def reduce(self, cres):
        cres.fndesc.typemap = cres.fndesc.calltypes = None  # as numba does: they may not be picklable
        code = cres.library._final_module.as_bitcode()
        return cres.library.name, code, cres.fndesc, cres.environment, cres.signature, cres.reload_init

    def rebuild(self, target_context, payload):
        name, code, fndesc, env, signature, reload_init = payload
        for function in reload_init:
            function()
        library = _InnerLibrary(target_context.codegen(), name)
        library._final_module = binding.parse_bitcode(code)
        library._finalized = True
        return compiler.CompileResult(
            typing_context=target_context.typing_context,
            target_context=target_context,
            entry_point=_handle(fndesc, env, library),
            typing_error=None,
            type_annotation="",
            signature=signature,
            objectmode=False,
            lifted=(),
            fndesc=fndesc,
            library=library,
            call_helper=None,
            environment=env,
            metadata=None,
            reload_init=reload_init,
            referenced_envs=(),
        )


class InnerCache(caching.FunctionCache):
    """Keeps inner kernels between processes."""

    _impl_class = _InnerImpl
