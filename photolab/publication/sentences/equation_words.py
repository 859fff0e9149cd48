"""Equations in words, as they are read aloud."""

import re

_TOKEN = re.compile(
    r"\\(?:text|mathrm|operatorname)\{[^{}]*\}|\\[A-Za-z]+|\\.|[{}^_]|\d+(?:\.\d+)?|[A-Za-z]|\s+|."
)
_SAID = {
    "+": "plus", "-": "minus", "/": "over", "=": "equals", "<": "is less than", ">": "is more than",
    "|": "bar", "*": "star", "'": "prime", ",": ",", ";": ";", ":": ":",
    r"\cdot": "times", r"\times": "times", r"\approx": "is about", r"\le": "is at most", r"\ge": "is at least",
    r"\ll": "is much less than", r"\gg": "is much more than", r"\pm": "plus or minus", r"\to": "goes to",
    r"\sum": "sum of", r"\int": "integral of", r"\iint": "double integral of", r"\prod": "product of",
    r"\infty": "infinity",
    r"\propto": "is proportional to", r"\partial": "partial", r"\in": "in", r"\ldots": "and so on",
    r"\dots": "and so on",
    r"\%": "percent", r"\exp": "exponential of", r"\ln": "natural logarithm of", r"\log": "logarithm of",
    r"\lambda": "lambda", r"\Delta": "delta", r"\varepsilon": "epsilon", r"\circ": "degrees",
}  # fmt: skip
_SILENT = {r"\left", r"\right", r"\,", r"\;", r"\:", r"\!", r"\ ", r"\quad", r"\qquad", r"\mathrm"}
_SILENT |= {"&", "~", r"\big", r"\Big"}
_OVER = {r"\bar": "mean", r"\hat": "estimated", r"\tilde": "tilde", r"\dot": "rate of", r"\overline": "mean"}
_SUMS = {r"\sum", r"\prod", r"\int"}
_POWERS = {"2": "squared", "3": "cubed", "*": "star", "'": "prime", "prime": "prime", "star": "star"}


def in_words(tex: str) -> str:
    r"""Return an equation in words.

    Parameters
    ----------
    tex : str
        TeX without its dollar signs.

    Returns
    -------
    str
        "I equals E d squared" for ``I = E\,d^2``; a sign that is not known is read by its name.
    """
    tokens = [token for token in _TOKEN.findall(tex) if not token.isspace()]
    words = _row(tokens, "")
    return re.sub(r"\s+([,;:.)\]])", r"\1", re.sub(r"([(\[])\s+", r"\1", " ".join(words.split())))


def _row(tokens: list[str], end: str) -> str:
    """Return what stands before an end, and take both away."""
    said: list[str] = []
    while tokens:
        token = tokens.pop(0)
        if token == end:
            break
        said.append(_one(token, tokens))
    return " ".join(said)


def _argument(tokens: list[str]) -> str:
    """Return the next argument: a group, or one sign with all that belongs to it."""
    token = tokens.pop(0) if tokens else ""
    return _row(tokens, "}") if token == "{" else _one(token, tokens)


def _one(token: str, tokens: list[str]) -> str:
    """Return one sign in words."""
    if token in _SILENT:
        return ""
    if token == "{":
        return _row(tokens, "}")
    if token == "^":
        power = _argument(tokens)
        return _POWERS.get(power, f"to the power {power}")
    if token == "_":
        return f"sub {_argument(tokens)}"
    if token == r"\frac":
        above, below = _argument(tokens), _argument(tokens)
        return f"{_grouped(above)} over {_grouped(below)}"
    if token == r"\sqrt":
        return f"square root of {_grouped(_argument(tokens))}"
    if token.endswith("}") and len(token) > 1:  # text in an equation
        return token.partition("{")[2].removesuffix("}")
    if token in _SUMS and tokens[:1] == ["_"]:
        del tokens[0]
        return f"{_SAID[token].removesuffix(' of')} over {_argument(tokens)} of"
    if token in _OVER:
        return f"{_OVER[token]} {_argument(tokens)}"
    return _SAID.get(token, token.removeprefix("\\"))


def _grouped(words: str) -> str:
    """Return words in brackets where they are more than one."""
    return f"({words})" if " " in words else words
