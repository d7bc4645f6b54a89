"""Models of the engine's own devices: which values of each are taken over.

Names as in the engine's manual (ngspice, release 39, chapters 7 to 11 and 11.3 for the VDMOS). What
a card holds beyond them describes the part for people or another engine, and is left out with a
word.
"""

from simkit.modelfile.cards import ModelCard
from simkit.modelfile.evaluation import Values, constant
from simkit.modelfile.numbers import plain


def _names(text: str) -> frozenset[str]:
    return frozenset(text.split())


DIODE = _names("""
    level is jsw n ns rs bv ibv nbv ikf ik ikr isr nr cjo cj0 cj cjp cjsw vj pb php m mj mjsw
    fc fcs tt tm1 tm2 eg xti trs trs1 trs2 tnom tcv area pj
""")
BIPOLAR = _names("""
    is ibe ibc iss bf nf vaf va ikf ik ise ne br nr var vb ikr isc nc rb irb rbm re rc cje vje
    pe mje me tf xtf vtf itf ptf cjc vjc pc mjc mc xcjc tr cjs vjs ps mjs ms xtb eg xti kf af
    fc tnom tre1 tre2 trc1 trc2 trb1 trb2 nkf subs
""")
MOS = _names("""
    level vto vt0 kp gamma phi lambda rd rs rsh cbd cbs is pb cgso cgdo cgbo cj mj cjsw
    mjsw js tox nsub nss nfs tpg xj ld uo ucrit uexp utra vmax neff kf af fc delta theta eta
    kappa tnom l w
""")
VDMOS = _names("""
    vto kp phi lambda theta rd rs rg rds rb rq vq mtriode subshift ksubthres
    bv ibv nbv cjo vj m fc tt n is eg xti cgdmin cgdmax a cgs tnom trd1 trd2 trs1
    trs2 trg1 trg2 trb1 trb2 texp0 texp1 tcvth mu
""")
JUNCTION_FET = _names("""
    level vto beta lambda rd rs cgs cgd pb is b fc m tnom tcv vtotc bex betatce xti eg kf af
""")
KINDS: dict[str, tuple[str, frozenset[str]]] = {
    "d": ("d", DIODE), "npn": ("npn", BIPOLAR), "pnp": ("pnp", BIPOLAR), "nmos": ("nmos", MOS),
    "pmos": ("pmos", MOS), "vdmos": ("vdmos", VDMOS), "njf": ("njf", JUNCTION_FET),
    "pjf": ("pjf", JUNCTION_FET),
}  # fmt: skip
"""Kind in a file: the kind written, and the names taken over."""
LEVELS = {"nmos": (1, 2, 3), "pmos": (1, 2, 3)}
"""Levels of a kind that are read; 1 of all others."""
NOT_AT_LEVEL = {
    1: _names("delta eta kappa neff nfs theta ucrit uexp utra vmax xj"),
    2: _names("eta kappa theta utra"),
    3: _names("lambda neff ucrit uexp utra"),
}
"""Values of a MOS model that the engine does not know at a level."""
ALIASES = {("vdmos", "vth"): "vto"}
"""Another dialect's name of a value, by kind."""


def model_body(card: ModelCard, values: Values) -> tuple[str, list[str]]:
    """Kind and values of a model in normal form, and what was left out.

    Errors: InputError for a level that is not read, and for a value that is no number.
    """
    kind, known = KINDS[card.kind]
    if "level" in card.values:
        known = known - _unknown_at(card, constant(card.values["level"], values, card.place))
    elif card.kind in LEVELS:
        known = known - NOT_AT_LEVEL[1]
    taken, dropped = [], []
    for written, tree in card.values.items():
        name = ALIASES.get((card.kind, written), written)
        if name in known:
            taken.append(f"{name}={plain(constant(tree, values, card.place))}")
        else:
            dropped.append(written)
    flags = [f for f in card.flags if f in ("nchan", "pchan") and kind == "vdmos"]
    dropped += [f for f in card.flags if f not in ("nchan", "pchan")]
    said = []
    if dropped:
        said.append(f"{card.place.file}:{card.place.line}: left out of model {card.name}, as the "
                    f"engine does not know it: {', '.join(dropped)}")  # fmt: skip
    return f"{kind}({' '.join([*flags, *taken])})", said


def _unknown_at(card: ModelCard, level: float) -> frozenset[str]:
    """Values that a card's level does not know. Errors: InputError for a level that is not read."""
    allowed = LEVELS.get(card.kind, (1,))
    if level not in allowed:
        many = ", ".join(str(a) for a in allowed)
        raise card.place.refuse(f"level={plain(level)}", f"levels {many} of {card.kind} are read",
                                "ask for a file with a behavioural or VDMOS model")  # fmt: skip
    return NOT_AT_LEVEL[int(level)] if card.kind in LEVELS else frozenset()
