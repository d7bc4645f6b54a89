"""Model files that mean harm: none gets a word past the reader, none keeps it busy.

Each is either refused, or read so that what is written for the engine passes the door's inspection
and holds nothing but names of our own. What engines do with such lines was tried with ngspice 39:
it runs `.control` and `shell` in decks and included files, and comments that begin with `*#`.
"""

import re
import signal
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from simkit.errors import InputError
from simkit.modelfile.flat import flattened
from simkit.modelfile.reader import read_model_file
from simkit.run.guard import inspect

BODY = ".subckt part a b\n{}\n.ends\n"
CHAIN = "\n".join([".func f0(x) {x*x}", *(f".func f{k}(x) {{f{k-1}(x)+f{k-1}(x)*f{k-1}(x)}}"
                                          for k in range(1, 40))])  # fmt: skip
TREE = "\n".join([".subckt s0 a b\nr1 a b 1\n.ends",
                  *(f".subckt s{k} a b\n" + f"x# a b s{k - 1}\n" * 10 + ".ends"
                    for k in range(1, 9))])  # fmt: skip
STEP = ".subckt s{} a b\nx1 a b s{}\n.ends"
LADDER = "\n".join([".subckt s0 a b\nr1 a b 1\n.ends",
                    *(STEP.format(k, k - 1) for k in range(1, 40))])  # fmt: skip


def numbered(text: str) -> str:
    """Every # as a number of its own."""
    pieces = text.split("#")
    return pieces[0] + "".join(f"{k}{piece}" for k, piece in enumerate(pieces[1:], 1))


HOSTILE: dict[str, str | bytes] = {
    # commands and sections
    "control": ".control\nshell touch owned\n.endc\n" + BODY.format("r1 a b 1"),
    "control-in-capitals": ".CONTROL\nshell touch owned\n.ENDC\n",
    "control-indented": "   .control\n\tshell touch owned\n.endc\n",
    "control-with-a-suffix": ".controls\nshell touch owned\n.endc\n",
    "control-within-a-part": BODY.format(".control\nshell touch owned\n.endc\nr1 a b 1"),
    "shell-alone": "shell touch owned\n",
    "system-alone": BODY.format("system touch owned"),
    "start-up-remark": "*#shell touch owned\n" + BODY.format("r1 a b 1"),
    "start-up-remark-later": BODY.format("*# shell touch owned\nr1 a b 1"),
    "script-mark": "*ng_script\nshell touch owned\n",
    "back-ticks": BODY.format("r1 a b `touch owned`"),
    "dollar-brackets": BODY.format("r1 a b $(touch owned)"),
    "exec": ".exec touch owned\n",
    "csparam": ".csparam x={system('touch owned')}\n",
    "meas": ".meas tran x param='shell(1)'\n",
    "pre-statement": "pre_osdi model.osdi\n" + BODY.format("r1 a b 1"),
    "codemodel": "codemodel evil.cm\n",
    "use-of-a-library": ".use evil.so\n",
    # other files
    "include": ".include /etc/passwd\n", "include-quoted": ".include \"/etc/passwd\"\n",
    "include-short": ".inc ../../secret\n", "include-in-capitals": ".INCLUDE x\n",
    "include-pipe": ".include \"|touch owned\"\n", "include-tab": ".include\t/etc/passwd\n",
    "include-continued": ".inc\n+ lude /etc/passwd\n", "include-within": BODY.format(".include x"),
    "lib": ".lib /etc/passwd tt\n", "lib-section": ".lib tt\n.include x\n.endl\n",
    "include-behind-a-carriage-return": b".subckt part a b\rr1 a b 1\r.include x\r.ends\r",
    "include-behind-a-form-feed": b".subckt part a b\nr1 a b 1\f.include x\n.ends\n",
    "include-behind-a-vertical-tab": b".subckt part a b\nr1 a b 1\v.include x\n.ends\n",
    "include-behind-nel": b".subckt part a b\nr1 a b 1\xc2\x85.include x\n.ends\n",
    "include-behind-a-line-separator": ".subckt part a b\nr1 a b 1\u2028.include x\n.ends\n",
    "include-behind-a-remark-s-separator": "* remark \u2028.include x\n" + BODY.format("r1 a b 1"),
    "file-of-values": BODY.format("b1 a b i={table(v(a), file='x')}"),
    "file-source": BODY.format("v1 a b pwl file=/etc/passwd"),
    "wave-file": BODY.format("v1 a b wavefile=/etc/passwd"),
    # code that is not of the whitelist
    "code-model": BODY.format("a1 [a] [b] evil\n.model evil d_and"),
    "digital": BODY.format("u1 nand(2) a b b c evil"),
    "compiled": BODY.format("n1 a b evil\n.model evil osdi"),
    "python-in-braces": BODY.format("r1 a b {__import__('os').system('touch owned')}"),
    "attribute": BODY.format("r1 a b {temp.__class__}"),
    "template": BODY.format("r1 a b {{ 7*7 }}"),
    "template-statement": BODY.format("r1 a b {% raw %}"),
    # size, depth, growth
    "long-line": "* " + "x" * 5000 + "\n",
    "long-statement": BODY.format("r1 a b 1" + "\n+ +1" * 15000),
    "many-lines": "*\n" * 30000,
    "large": b"*" * 2_000_000,
    "deep-brackets": BODY.format("r1 a b {" + "(" * 900 + "1" + ")" * 900 + "}"),
    "deep-signs": BODY.format("r1 a b {" + "-" * 1500 + "1}"),
    "deep-powers": BODY.format("r1 a b {" + "2**" * 500 + "1}"),
    "deep-choices": BODY.format("r1 a b {" + "1?" * 400 + "1" + ":1" * 400 + "}"),
    "functions-that-double": CHAIN + "\n" + BODY.format("b1 a b i={f39(v(a))}"),
    "function-that-calls-itself": ".func f(x) {f(x)+1}\n" + BODY.format("r1 a b {f(1)}"),
    "functions-in-a-circle": ".func f(x) {g(x)}\n.func g(x) {f(x)}\n"
    + BODY.format("r1 a b {f(1)}"),
    "parameters-in-a-circle": ".param a={b} b={c} c={a}\n" + BODY.format("r1 a b {a}"),
    "parameters-in-a-long-chain": "\n".join(f".param p{k}={{p{k + 1}}}" for k in range(900))
    + "\n.param p900=1\n" + BODY.format("r1 a b {p0}"),
    "parameters-that-explode": "\n".join([".param p0=10", *(f".param p{k}={{p{k - 1}*p{k - 1}}}"
                                          for k in range(1, 60))]) + BODY.format("\nr1 a b {p59}"),
    "part-that-calls-itself": ".subckt part a b\nx1 a b part\n.ends\n",
    "parts-that-call-each-other": ".subckt part a b\nx1 a b other\n.ends\n.subckt other a b\n"
    "x1 a b part\n.ends\n",
    "parts-that-grow": numbered(TREE) + "\n" + BODY.format("x1 a b s8"),
    "parts-in-a-ladder": LADDER + "\n" + BODY.format("x1 a b s39"),
    "parts-within-parts": ".subckt part a b\n" + "".join(f".subckt s{k} a b\n" for k in range(20)),
    "enormous-exponent": BODY.format("r1 a b 1e99999"),
    "enormous-power": BODY.format("r1 a b {9**9**9}"),
    "many-digits": BODY.format("r1 a b " + "9" * 1900),
    # names and letters
    "names-of-ours": ".model w1 d(is=1)\n" + BODY.format("r1 a n1 1\nr2 n1 p2 2\nd1 a b w1"),
    "part-named-as-ours": ".subckt switch a b\nr1 a b 1\n.ends\n" + BODY.format("x1 a b switch"),
    "global-node": ".global vdd\n" + BODY.format("r1 a vdd 1"),
    "look-alike-letters": ".\u0455ubckt part a b\nr1 a b 1\n.ends\n",
    "full-width-dot": "\uff0econtrol\nshell touch owned\n",
    "right-to-left": BODY.format("r1 a b 1 \u202e.include x"),
    "nul": b".subckt part a b\nr1 a b 1\x00.include x\n.ends\n",
    "escape": b".subckt part a b\nr1 a b 1 \x1b]0;owned\x07\n.ends\n",
    "utf-16": ".subckt part a b\nr1 a b 1\n.ends\n".encode("utf-16"),
    "node-with-a-quote": BODY.format("r1 a' b 1"), "node-with-a-slash": BODY.format("r1 ../a b 1"),
    "empty": b"", "only-remarks": "* nothing\n", "bytes": bytes(range(256)) * 8,
}  # fmt: skip
LINE = re.compile(
    r"(?:\.model w\d+ \w+\([\w .+\-=]*\)|\.subckt device( p\d+)+|\.ends"
    r"|[bcdegijklmqrv]\d+( (?:[pnwblvi]\d+|0))+ ?[\w .+\-*/()=,?:<>&|]*)\Z"
)


@contextmanager
def at_most(seconds: int) -> Iterator[None]:
    """End what takes longer."""

    def late(*_: object) -> None:
        raise TimeoutError(f"took more than {seconds} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def test_there_are_sixty_of_them() -> None:
    assert len(HOSTILE) >= 60


@pytest.mark.parametrize("name", HOSTILE)
def test_it_is_refused_or_written_in_our_own_words(name: str) -> None:
    content = HOSTILE[name]
    content = content.encode() if isinstance(content, str) else content
    with at_most(10):
        try:
            part = flattened(read_model_file(content, "evil.lib"), "part", 25.0)
        except InputError as error:
            said = str(error)
            assert said.startswith("evil.lib")
            assert len(said) < 400
            assert said.isprintable()
            return
    lines = part.deck_lines("device")
    inspect("\n".join(lines))
    assert [line for line in lines if not LINE.match(line)] == []
    assert not re.search(r"owned|shell|include|passwd|system", "\n".join(lines))
