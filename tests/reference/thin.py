"""Thin-plate modes with Argyris' triangle: C1, no shear, five-field code not involved.

Rectangles with sides along the axes, so that the vertex unknowns u, u_x, u_y, u_xx, u_xy, u_yy can be held one by one.

References
----------
J. H. Argyris, I. Fried, D. W. Scharpf, Aeronaut. J. 72 (1968) 701-709. Plate energy: S. P. Timoshenko,
S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. (1959), art. 85 and 88.
"""

import numpy as np
from scipy.sparse.linalg import eigsh
from skfem import Basis, BilinearForm, ElementTriArgyris, MeshTri, condense
from skfem.helpers import dd


def thin_rectangle(
    a: float, b: float, D: np.ndarray, areal_mass: float, sides: dict[str, str], n_modes: int, cells: int = 8
) -> np.ndarray:
    """Frequencies of a thin rectangular plate, (n_modes,) in Hz, rigid motions left out.

    Parameters
    ----------
    D : (3, 3) array, N m
        For the curvatures w_xx, w_yy, 2 w_xy.
    areal_mass : float, kg/m^2
    sides : dict of str to str
        "left", "right", "bottom", "top" to "clamped" or "hinged"; sides not named are free.
    cells : int
        Squares along each side, two triangles each.
    """
    mesh = MeshTri.init_tensor(np.linspace(0, a, cells + 1), np.linspace(0, b, cells + 1)).with_defaults()
    basis = Basis(mesh, ElementTriArgyris(), intorder=10)

    def energy(u, v, _):  # type: ignore[no-untyped-def]
        ku, kv = [(dd(f)[0, 0], dd(f)[1, 1], 2 * dd(f)[0, 1]) for f in (u, v)]
        return sum(D[i, j] * ku[j] * kv[i] for i in range(3) for j in range(3))

    K = BilinearForm(energy).assemble(basis)
    M = BilinearForm(lambda u, v, _: areal_mass * u * v).assemble(basis)
    held = []
    for side, kind in sides.items():
        across_x = side in ("left", "right")
        names = ["u", "u_y", "u_yy"] if across_x else ["u", "u_x", "u_xx"]
        if kind == "clamped":
            names += ["u_x", "u_xy", "u_n"] if across_x else ["u_y", "u_xy", "u_n"]
        held.append(basis.get_dofs(side).all(names))
    D_ = np.unique(np.concatenate(held)) if held else np.array([], dtype=int)
    K_, M_ = condense(K, M, D=D_, expand=False) if len(D_) else (K, M)
    shift = 1e-3 * D[0, 0] / (areal_mass * a**4)
    n_rigid = _n_rigid(sides)
    values = np.sort(eigsh(K_, n_modes + n_rigid, M_, sigma=-shift, return_eigenvectors=False))
    return np.sqrt(values[n_rigid:]) / (2 * np.pi)


def _n_rigid(sides: dict[str, str]) -> int:
    if not sides:
        return 3
    return 1 if len(sides) == 1 and "hinged" in sides.values() else 0
