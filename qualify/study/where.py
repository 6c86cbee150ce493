"""The cell that estimates are made for: kind, mode and reader on one basis."""

from dataclasses import dataclass

from qualify.criteria.estimate import Basis, Estimate, Side


@dataclass(frozen=True, slots=True)
class Where:
    """The cell that estimates are made for, and where they go."""

    out: list[Estimate]
    basis: Basis
    population: str
    mode: str
    reader: str
    rows: int

    def add(
        self,
        statistic: str,
        value: float | None,
        unit: str,
        *,
        method: str = "count",
        side: Side = "none",
        reason: str | None = None,
        in_range: bool | None = None,
    ) -> None:
        """Add one estimate of this cell; a reason counts only where there is no value."""
        self.out.append(
            Estimate(
                basis=self.basis,
                statistic=statistic,
                population=self.population,
                mode=self.mode,
                reader=self.reader,
                side=side,
                method=method,
                value=value,
                unit=unit,
                reason=reason if value is None else None,
                rows=self.rows,
                in_range=in_range,
            )
        )
