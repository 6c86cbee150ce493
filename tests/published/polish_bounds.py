"""Make `data/likelihood_bounds_50_digits.json`: likelihood bounds in 50-digit arithmetic.

An evaluation apart from the product: it shares no code with `qualify`, writes each link as the
textbook formula for POD, and relies on 50 digits. Run by hand with
`python tests/published/polish_bounds.py`; needs mpmath, which the product and its tests do not.
"""

import json
from pathlib import Path

import mpmath as mp

mp.mp.dps = 50
DATA = Path(__file__).parent / "data"
PODS = {
    "logit": lambda e: 1 / (1 + mp.exp(-e)),
    "probit": mp.ncdf,
    "cloglog": lambda e: -mp.expm1(-mp.exp(e)),
    "loglog": lambda e: mp.exp(-mp.exp(-e)),
}
MISSES = {
    "logit": lambda e: 1 / (1 + mp.exp(e)),
    "probit": lambda e: mp.ncdf(-e),
    "cloglog": lambda e: mp.exp(-mp.exp(e)),
    "loglog": lambda e: -mp.expm1(-mp.exp(-e)),
}
SLOPES = {
    "logit": lambda e: mp.exp(-e) / (1 + mp.exp(-e)) ** 2,
    "probit": mp.npdf,
    "cloglog": lambda e: mp.exp(e - mp.exp(e)),
    "loglog": lambda e: mp.exp(-e - mp.exp(-e)),
}
NINETY = {
    "logit": mp.log(9),
    "probit": mp.sqrt(2) * mp.erfinv(mp.mpf(8) / 10),
    "cloglog": mp.log(mp.log(10)),
    "loglog": -mp.log(-mp.log(mp.mpf(9) / 10)),
}
SETS = ("beetles", "menarche", "vaso_rate", "vaso_volume", "invented_n60", "invented_n120")
Z_SQUARED = 2 * mp.erfinv(mp.mpf(9) / 10) ** 2  # normal quantile of 0.95, squared


def height(link, rows, intercept, slope):
    total = mp.mpf(0)
    for x, hits, misses in rows:
        eta = intercept + slope * x
        total += hits * mp.log(PODS[link](eta)) if hits else 0
        total += misses * mp.log(MISSES[link](eta)) if misses else 0
    return total


def score(link, rows, intercept, slope):
    first = second = mp.mpf(0)
    for x, hits, misses in rows:
        eta = intercept + slope * x
        pull = (hits / PODS[link](eta) - misses / MISSES[link](eta)) * SLOPES[link](eta)
        first, second = first + pull, second + pull * x
    return first, second


def bound(link, rows, coefficients, start):
    """Size axis value where 2 (highest - profile) = z^2, by the two equations of the tangent."""
    a, b = mp.findroot(lambda i, s: score(link, rows, i, s), coefficients)
    highest, level = height(link, rows, a, b), NINETY[link]

    def equations(psi, slope):
        first, second = score(link, rows, level - slope * psi, slope)
        drop = 2 * (highest - height(link, rows, level - slope * psi, slope))
        return drop - Z_SQUARED, second - psi * first

    slope0 = mp.findroot(
        lambda s: equations(start, s)[1], (b / 1000, 2 * b), solver="illinois", tol=1e-20
    )
    return mp.findroot(equations, (start, slope0))[0]


def main():
    sets = json.loads((DATA / "hit_miss_sets.json").read_text())
    reference = json.loads((DATA / "hit_miss_r.json").read_text())
    result = {}
    for name in SETS:
        trials = sets[name]["trials"] or [1] * len(sets[name]["size"])
        result[name] = {}
        for key, known in reference[name].items():
            scale, link = key.split(".")
            axis = mp.log if scale == "logx" else mp.mpf
            rows = [
                (axis(mp.mpf(str(a))), h, n - h)
                for a, h, n in zip(sets[name]["size"], sets[name]["hits"], trials, strict=True)
            ]
            start = axis(mp.mpf(known["ed90_upper95_lr"]))
            psi = bound(link, rows, [mp.mpf(c) for c in known["coef"]], start)
            size = mp.exp(psi) if scale == "logx" else psi
            result[name][key] = float(mp.nstr(size, 17))
    (DATA / "likelihood_bounds_50_digits.json").write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
