"""Which constants of a board are to be found from its taps, and what the others follow.

Depends on fem/wood.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.wood import Wood

SPREADS = {"E_L": 0.22, "E_R": 0.25, "G_LR": 0.25, "nu_LR": 0.08, "G_LT": 0.25, "G_RT": 0.5}
"""How well a constant is known without taps: standard error of its logarithm, or of that of its ratio to its parent
(`PARENTS`), of nu_LR itself. E_L: coefficient of variation of moduli of elasticity within a species (Wood Handbook,
FPL-GTR-282, Table 5-6, recalled). The others are chosen, about as wide as the species of Tables 5-1 and 5-2 scatter."""

TOLD = 0.5
"""A constant counts as determined by the taps if they know it this much better than `SPREADS`; chosen."""

PARENTS = {"E_R": "E_L", "G_LR": "E_L", "G_LT": "G_LR", "G_RT": "E_R"}
"""A constant that the taps do not tell keeps its ratio to this one in the base wood."""

CANDIDATES = {"plate": ("E_L", "E_R", "G_LR", "nu_LR"), "stick": ("E_L", "G_LR")}


@dataclass(frozen=True, slots=True)
class Parameters:
    """What a specimen's frequencies depend on, and which of it is to be found.

    Unknowns are the logarithms (nu_LR itself) of the free constants, and of the held ones' ratios to their parents.

    Parameters
    ----------
    constants, free : tuples of str
        All of them, and those that are to be found.
    spreads : mapping of str to float
        As `SPREADS`.
    """

    constants: tuple[str, ...]
    free: tuple[str, ...]
    spreads: Mapping[str, float]

    @property
    def free_at(self) -> list[int]:
        """Places of the constants that are to be found."""
        return [self.constants.index(name) for name in self.free]

    @property
    def held_at(self) -> list[int]:
        """Places of the others."""
        return [i for i, name in enumerate(self.constants) if name not in self.free]

    def spread(self) -> np.ndarray:
        """Standard errors of the held unknowns."""
        return np.array([self.spreads[self.constants[i]] for i in self.held_at])

    def chain(self) -> np.ndarray:
        """Derivatives of the constants by the unknowns, logarithms both (nu_LR itself), (n, n)."""
        T = np.eye(len(self.constants))
        for i, name in enumerate(self.constants):
            if name not in self.free and name in PARENTS:
                T[i] += T[self.constants.index(PARENTS[name])]
        return T

    def unknowns(self, start: Mapping[str, float], base: Wood) -> np.ndarray:
        """Unknowns at the start: free constants from `start`, ratios of the held ones from the base wood."""
        u = np.empty(len(self.constants))
        for i, name in enumerate(self.constants):
            if name in self.free:
                u[i] = start[name] if name == "nu_LR" else np.log(start[name])
            elif name in PARENTS:
                u[i] = np.log(getattr(base, name) / getattr(base, PARENTS[name]))
            else:
                u[i] = base.nu_LR if name == "nu_LR" else np.log(getattr(base, name))
        return u

    def values(self, u: np.ndarray) -> np.ndarray:
        """Constants of unknowns."""
        logs = self.chain() @ u
        return np.array([logs[i] if n == "nu_LR" else np.exp(logs[i]) for i, n in enumerate(self.constants)])
