"""Help for people who have never programmed: a cell that goes wrong shows one plain sentence, not a traceback.

`install` teaches the running notebook kernel three things:

- a line such as ``peak_volts = 33.9 V``, which is no Python, becomes a text, and `halfcycle.answers` explains it;
- powers that no computer can finish (``9**9**9``) and ``^`` typed for a power stop at once with a sentence;
- an error leaves `NoAnswer` in the variables that its cell should have set, so that no older value is handed in by mistake.

In a learner's folder the sentence takes the place of the traceback, which stays folded away under it. Elsewhere (lesson tests,
the grading room) the error is sent as well, so that nothing which looks for errors is blinded.
"""

import ast
import re
import warnings
from functools import partial
from pathlib import Path

from halfcycle.answers import NoAnswer
from halfcycle.showing import sentence_html, show
from halfcycle.variants import who_file

__all__ = ["install", "sentence_for"]

_POWER, _CARET = "_halfcycle_power", "_halfcycle_caret"
_LARGEST_BITS = 4096
_ASSIGNMENT = re.compile(r"^([A-Za-z_]\w*)\s*=(?!=)\s*(.*?)\s*$")
_COLOUR_CODES = re.compile(r"\x1b\[[0-9;]*m")
_PACKAGE = str(Path(__file__).parent)


def install(shell):
    """Teach ``shell`` (an IPython shell, or None outside a notebook) the above, once."""
    if shell is None or hasattr(shell, "_halfcycle_cell"):
        return
    shell._halfcycle_cell, shell._halfcycle_explained = "", False
    shell.user_ns_hidden.update({_POWER: _power, _CARET: _caret})
    shell.user_ns.update({_POWER: _power, _CARET: _caret})
    shell.input_transformers_cleanup.append(texts_for_unreadable_answers)
    shell.ast_transformers.append(_SafeArithmetic())
    shell.events.register("pre_run_cell", partial(_before_cell, shell))
    shell.events.register("post_run_cell", partial(_after_cell, shell))
    warnings.filterwarnings("ignore", category=SyntaxWarning)  # "24(2)" warns, then fails: once is enough
    _replace_display(shell)


def texts_for_unreadable_answers(lines):
    """Turn ``name = 33.9 V`` into ``name = '33.9 V'`` and ``name =`` into a blank, but only where that makes the cell readable.

    >>> texts_for_unreadable_answers(["peak_volts = 33.9 V"])
    ["peak_volts = '33.9 V'\\n"]
    """
    if _parses("".join(lines)):
        return lines
    mended = [_mended(line) for line in lines]
    return mended if _parses("".join(mended)) else lines


def sentence_for(error):
    """Return one sentence for ``error``: what happened and what to do.

    >>> sentence_for(ZeroDivisionError("division by zero"))
    'The arithmetic divides by zero; look at what stands after the / sign.'
    """
    if _raised_here(error):
        return str(error)
    for kind, sentence in _SENTENCES:
        if isinstance(error, kind):
            return sentence(error) if callable(sentence) else sentence
    return f"This cell could not be worked out ({type(error).__name__}); compare it with the worked example, change it and run it again."


def _replace_display(shell):
    ordinary = shell._showtraceback

    def showtraceback(kind, error, lines):
        sentence = sentence_for(error)
        names = _unset_names(shell, error)
        shell.user_ns.update({name: NoAnswer(_inside(sentence)) for name in names})
        shell._last_traceback = lines
        if who_file() is None:
            ordinary(kind, error, lines)
            return
        shell._halfcycle_explained = bool(names)
        technical = _COLOUR_CODES.sub("", "\n".join(lines))
        head, rest = "Look again", f": {_inside(sentence)}"
        show(head + rest, sentence_html(head, rest, folded=technical, folded_title="For the technically minded"))

    shell._showtraceback = showtraceback


def _inside(sentence):
    """A sentence as it stands after a colon."""
    return sentence if sentence.startswith("Python") else sentence[:1].lower() + sentence[1:]


def _before_cell(shell, info):
    shell._halfcycle_cell, shell._halfcycle_explained = info.transformed_cell or "", False


def _after_cell(shell, result):
    """Let the next cell run after an answer that went wrong: a kernel drops what is queued behind an error.

    Shift+Enter pressed twice would otherwise leave an older "Recorded" standing under an answer that is none.
    """
    if shell._halfcycle_explained:
        result.error_before_exec = result.error_in_exec = None


def _unset_names(shell, error):
    """The variables which the cell that raised ``error`` was to set and did not."""
    source = shell._halfcycle_cell
    if not _parses(source):
        return [found[1] for found in map(_ASSIGNMENT.match, source.splitlines()) if found]
    failed = _failed_line(shell, error)
    return [target.id for step in ast.parse(source).body if step.end_lineno >= failed for target in _targets(step)]


def _targets(step):
    targets = step.targets if isinstance(step, ast.Assign) else []
    return [target for target in targets if isinstance(target, ast.Name)]


def _failed_line(shell, error):
    trace = error.__traceback__
    while trace is not None:
        if trace.tb_frame.f_globals is shell.user_ns and trace.tb_frame.f_code.co_name == "<module>":
            return trace.tb_lineno
        trace = trace.tb_next
    return 1


def _raised_here(error):
    """True where this package raised the error on purpose: its text is a sentence for people already."""
    trace, last = error.__traceback__, None
    while trace is not None:
        trace, last = trace.tb_next, trace.tb_frame.f_code.co_filename
    return last is not None and last.startswith(_PACKAGE) and str(error)[-1:] in {".", "!", "?"}


def _parses(source):
    try:
        ast.parse(source)
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        return False
    return True


def _mended(line):
    found = _ASSIGNMENT.match(line)
    if found is None or found[2][:1] in {"%", "!"} or (found[2] and _parses(found[2])):
        return line
    text = found[2].partition("#")[0].strip()
    return f"{found[1]} = {text!r}\n" if text else f"{found[1]} = ...\n"


class _SafeArithmetic(ast.NodeTransformer):
    """Sends every ``**`` and ``^`` of a cell through `_power` and `_caret`."""

    def visit_BinOp(self, node):
        self.generic_visit(node)
        name = {ast.Pow: _POWER, ast.BitXor: _CARET}.get(type(node.op))
        if name is None:
            return node
        call = ast.Call(ast.Name(name, ast.Load()), [node.left, node.right], [])
        return ast.fix_missing_locations(ast.copy_location(call, node))


def _power(base, exponent):
    whole = isinstance(base, int) and isinstance(exponent, int)
    if whole and exponent > 0 and base.bit_length() * exponent > _LARGEST_BITS and abs(base) > 1:
        raise OverflowError(
            "The power in this cell is far too large to be worked out; look at the numbers around the ** sign."
        )
    return base**exponent


def _caret(left, right):
    if {type(left), type(right)} <= {int, float} and not {left, right} <= {0, 1}:
        raise TypeError("The sign ^ does not mean “to the power of” here; write ** instead, as in 10**3.")
    return left ^ right


def _name(error):
    name = getattr(error, "name", None) or "in this cell"
    return (
        f"The name {name} has no value yet; check how it is spelled, "
        "or run the cells above this one first (menu Run, Run All Above Selected Cell)."
    )


def _syntax(error):
    where = f" in line {error.lineno}" if error.lineno else ""
    return (
        f"Python cannot read this cell{where}; look for a missing bracket, quote or operator there, "
        "and write an answer as name = number."
    )


def _type(error):
    if "not callable" in str(error):
        return "A number stands right before a round bracket; put a * between them if you mean “times”."
    return "Two things in this cell do not go together; look for a text among the numbers, or a function without its brackets."


_SENTENCES = (
    (NameError, _name),
    (SyntaxError, _syntax),
    (ZeroDivisionError, "The arithmetic divides by zero; look at what stands after the / sign."),
    (OverflowError, "A number in this cell is too large to be worked out; look at the powers in it."),
    (MemoryError, "This cell needs more memory than there is; look at the sizes and powers in it."),
    (RecursionError, "This cell goes round in circles or nests too deeply; write it more simply."),
    (KeyboardInterrupt, "The cell was stopped before it was done; change it, or run it again."),
    (AssertionError, "A check written into this cell did not hold; compare it with the text above."),
    (
        ImportError,
        "A part of the course that this cell needs is not installed; start the course with `halfcycle study`.",
    ),
    (FileNotFoundError, lambda error: f"There is no file {error.filename}; check its name and its folder."),
    (ValueError, "A value in this cell is outside what can be worked out, such as a root of a negative number."),
    (TypeError, _type),
    (AttributeError, "A name after a point is not known; check how it is spelled."),
    (
        (IndexError, KeyError),
        "This cell asks for an entry that is not there; check the number or name in the square brackets.",
    ),
)
