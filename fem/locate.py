"""Finding the triangle and the reference coordinates of points of the top."""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import KDTree
from skfem import MeshTri, MeshTri2

from bracedtop.geometry.errors import MeshError
from bracedtop.geometry.mesh import TopMesh


@dataclass(frozen=True, slots=True)
class Locator:
    """Point location in a mesh whose rim triangles may have one curved side.

    Parameters
    ----------
    flat : MeshTri
        Straight-sided triangles.
    curved : MeshTri2
        The same triangles with their curved sides.
    tree : KDTree
        Over the triangles' centroids.
    boxes : shapely.STRtree
        Over the straight-sided triangles.
    """

    flat: MeshTri
    curved: MeshTri2
    tree: KDTree
    boxes: shapely.STRtree

    @classmethod
    def from_mesh(cls, mesh: TopMesh) -> "Locator":
        """Locator for a mesh of a top."""
        flat = mesh.flat
        boxes = shapely.STRtree(shapely.polygons(flat.p[:, flat.t].transpose(2, 1, 0)))
        return cls(flat, mesh.curved, KDTree(flat.p[:, flat.t].mean(axis=1).T), boxes)

    def locate(self, xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Triangle (n,) and reference coordinates (2, n) of points (n, 2) in m.

        A point between a chord of the rim and the rim itself goes to the triangle on that chord.

        Raises
        ------
        MeshError
            If a point lies off the mesh.
        """
        p, t = self.flat.p, self.flat.t
        element = np.full(len(xy), -1)
        best = np.full(len(xy), -np.inf)
        for n_near in (6, 24, 120):
            todo = np.flatnonzero(best < -1e-9)
            if not len(todo):
                break
            _, near = self.tree.query(xy[todo], k=min(n_near, t.shape[1]))
            near = near.reshape(len(todo), -1)
            a, b, c = (p[:, t[k, near]] for k in range(3))
            q = xy[todo].T[:, :, None] - a
            det = _cross(b - a, c - a)
            X, Y = _cross(q, c - a) / det, _cross(b - a, q) / det
            inside = np.minimum(np.minimum(X, Y), 1 - X - Y)
            k = inside.argmax(axis=1)
            rows = np.arange(len(todo))
            element[todo], best[todo] = near[rows, k], inside[rows, k]
        if len(xy) and best.min() < -0.5:
            x, y = 1e3 * xy[best.argmin()]
            message = f"point [{x:.1f}, {y:.1f}] mm does not lie on the mesh of the top"
            raise MeshError(message)
        return element, self.local(xy, element)

    def triangles(self, element: np.ndarray) -> np.ndarray:
        """Shapely polygons of straight-sided triangles (n,)."""
        return np.asarray(shapely.polygons(self.flat.p[:, self.flat.t[:, element]].transpose(2, 1, 0)))

    def triangles_meeting(self, polygons: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Pairs (polygon index, triangle index) that meet, sorted so that equal input gives equal output."""
        which, element = self.boxes.query(polygons, predicate="intersects")
        order = np.lexsort((element, which))
        return which[order], element[order]

    def positions(self, element: np.ndarray, local: np.ndarray) -> np.ndarray:
        """Points (n, 2) in m of triangles (n,) and reference coordinates (2, n)."""
        return np.asarray(self.curved.mapping().F(local[:, :, None], element)[:, :, 0].T)

    def local(self, xy: np.ndarray, element: np.ndarray) -> np.ndarray:
        """Reference coordinates (2, n) of points (n, 2) in m in given triangles (n,).

        Raises
        ------
        MeshError
            If Newton's iteration does not converge.
        """
        mapping = self.curved.mapping()
        X = np.full((2, len(xy), 1), 1.0 / 3.0)
        for _ in range(20):
            step = np.einsum("ijkl,jkl->ikl", mapping.invDF(X, element), xy.T[:, :, None] - mapping.F(X, element))
            X = X + step
            if not len(xy) or np.abs(step).max() < 1e-12:
                return np.asarray(X[:, :, 0])
        message = "the reference coordinates of a brace's point did not converge; a rim triangle is too curved"
        raise MeshError(message)


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.asarray(a[0] * b[1] - a[1] * b[0])
