"""The what-if model of a case. Depends on fem/case, fem/reduced_build."""

from bracedtop.fem.case import Case
from bracedtop.fem.reduced import Reduced
from bracedtop.fem.reduced_build import build_reduced


def case_reduced(case: Case, n_modes: int = 12) -> Reduced:
    """The what-if model of a case.

    Raises
    ------
    DesignError, MeshError, AccuracyError
    """
    return build_reduced(case.design, case.woods, n_modes, size=case.mesh_size)
