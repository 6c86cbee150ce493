"""What a curve with a plateau says, in plain sentences for the dossier."""

from qualify.pod.plateau import PlateauFit
from qualify.pod.plateau_bootstrap import EdgeBootstrap

LEVEL = 0.05


def plateau_sentences(fit: PlateauFit, bootstrap: EdgeBootstrap | None = None) -> tuple[str, ...]:
    """Say what the fit shows about a plateau of POD and about a90 under it.

    Parameters
    ----------
    fit : from `fit_plateau`; sizes in its unit.
    bootstrap : of 'plateau = 1', from `plateau_bootstrap`; its p value then replaces that of the
        large-sample mixture.
    """
    if fit.floor is None or fit.plateau is None:
        return (f"A plateau of POD can't be judged: {fit.reason}.",)
    said = [_limits(fit), _bound(fit)]
    test = _test(fit, bootstrap)
    if test is not None:
        said.append(test)
    if fit.a90.value is None:
        said.append(f"No a90 under this curve: {fit.a90.reason}.")
    elif fit.a90_95.value is None:
        said.append(
            f"a90 under this curve: {fit.a90.value:.4g}, without an upper bound: "
            f"{fit.a90_95.reason}."
        )
    else:
        said.append(
            f"a90 under this curve: {fit.a90.value:.4g}, at most {fit.a90_95.value:.4g} at "
            f"{100 * fit.confidence:g} % confidence (likelihood bound)."
        )
    return tuple(said)


def _limits(fit: PlateauFit) -> str:
    if fit.floor_held is not None:
        origin = "held"
    elif fit.blank_units:
        origin = f"with {fit.blank_called} of {fit.blank_units} blanks called"
    else:
        origin = "estimated from the targets alone"
    return f"Plateau of POD {fit.plateau:.3f}, floor {fit.floor:.3f} ({origin})."


def _bound(fit: PlateauFit) -> str:
    least = fit.plateau_lower_95.value
    if least is None:
        return f"No lower bound on the plateau: {fit.plateau_lower_95.reason}."
    verdict = "is excluded" if least > 0.9 else "is not excluded"
    return (
        f"The plateau is at least {least:.3f} at {100 * fit.confidence:g} % confidence (likelihood "
        f"bound): a plateau at or below 0.90, under which no size has POD 0.90, {verdict}."
    )


def _test(fit: PlateauFit, bootstrap: EdgeBootstrap | None) -> str | None:
    if bootstrap is not None and bootstrap.p_value is not None:
        p, how = bootstrap.p_value, f"by {bootstrap.replicates} simulations"
    elif fit.plateau_test.p_value is not None:
        p, how = fit.plateau_test.p_value, "by large-sample theory"
        if fit.floor_held is None:
            how += ", which is too eager in small trials with a free floor"
    else:
        return None
    verdict = (
        "the data speak against a curve that rises to 1"
        if p <= LEVEL
        else "the data are compatible with a curve that rises to 1"
    )
    return f"Test of a plateau of 1: p = {p:.3f} {how}; {verdict}."
