"""Deflection and stress of a solid by the finite-element method: quadratic tetrahedra, linear elasticity.

Assembly and elements are scikit-fem's, the solver is SciPy's. Small deflections and one isotropic material are
assumed. Units: mm, N, MPa.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Unknowns that a first estimate may take: seconds, not minutes.
MOST_UNKNOWNS = 150_000


class CannotSolve(Exception):
    """The estimate cannot be made; says why."""


#: Of places (n, 3), which are held.
Held = Callable[[Floats], NDArray[np.bool_]]


@dataclass(frozen=True)
class PointForce:
    """A force (N) spread over the surface within `reach_mm` of a point, or `evenly` over the flat face it lies on."""

    at_mm: tuple[float, float, float]
    force_n: tuple[float, float, float]
    reach_mm: float
    evenly: bool = False


@dataclass(frozen=True, eq=False)
class Feet:
    """What carries a part along `up`: its places do not sink, and it may tilt on them.

    Nothing rubs: the first foot alone keeps it from sliding, and the farthest from it from turning.
    """

    places_mm: Floats
    reach_mm: float
    up: Floats


#: A foot's stiffness, as a multiple of a cube of the material as large as its reach.
_FOOT = 1e5
#: Elements looked at for the one that a foot stands on.
_NEAR = 40
#: How often elements that a clamp ends in are halved: as a rule its end then lies within a quarter of an element.
_HALVED = 3


@dataclass(frozen=True)
class Solved:
    """Deflection (mm) at the mesh's points, von Mises stress (MPa) at its points, and where both are largest."""

    points_mm: Floats
    deflection_mm: Floats
    stress_mpa: Floats
    #: Corner points of each tetrahedron: indices into the other arrays.
    tetrahedra: Ints
    unknowns: int

    @property
    def largest_deflection(self) -> tuple[float, tuple[float, float, float]]:
        """Return value and place."""
        size = np.linalg.norm(self.deflection_mm, axis=1)
        at = int(size.argmax())
        return float(size[at]), _point(self.points_mm[at])

    def largest_stress(
        self, away_from_mm: Floats | None = None, reach_mm: float = 0.0
    ) -> tuple[float, tuple[float, float, float]]:
        """Return value and place, leaving out what lies within reach of points where the model's stress has no meaning.

        At a clamped edge or under a point force linear elasticity gives ever more stress the finer the mesh.
        """
        stress = self.stress_mpa.copy()
        if away_from_mm is not None and len(away_from_mm) and reach_mm > 0:
            from scipy.spatial import cKDTree

            near, _ = cKDTree(away_from_mm).query(self.points_mm, distance_upper_bound=reach_mm)
            if not np.isfinite(near).all():
                stress[np.isfinite(near)] = 0.0
        at = int(stress.argmax())
        return float(stress[at]), _point(self.points_mm[at])


def _point(row: Floats) -> tuple[float, float, float]:
    return float(row[0]), float(row[1]), float(row[2])


def solve(
    points_mm: Floats,
    tetrahedra: Ints,
    youngs_modulus_mpa: float,
    poisson: float,
    held: Held,
    forces: Sequence[PointForce],
    feet: Sequence[Feet] = (),
) -> Solved:
    """Return how a solid gives way.

    `points_mm` (n, 3), `tetrahedra` (m, 4), `held`: which places cannot move. It is asked for the middles of edges
    too: by corners alone, a clamp would begin up to a whole element late. Raises CannotSolve when fewer than three
    points are held, a force meets no surface, or the mesh is too fine for a first estimate.
    """
    import skfem

    # It tells on stderr how arrays lie in memory.
    logging.getLogger("skfem").setLevel(logging.ERROR)
    clamped = bool(held(points_mm).sum() >= 3)
    if not clamped and not feet:
        raise CannotSolve("fewer than three points of the part are held, so it would float away")
    mesh = skfem.MeshTet(np.ascontiguousarray(points_mm.T), np.ascontiguousarray(_positive(points_mm, tetrahedra).T))
    for _ in range(_HALVED if clamped else 0):
        mesh = mesh.refined(np.flatnonzero(_cut(mesh, held)))
    element = skfem.ElementVector(skfem.ElementTetP2())
    basis = skfem.Basis(mesh, element, intorder=2)
    if basis.N > MOST_UNKNOWNS:
        raise CannotSolve(f"the mesh has {basis.N} unknowns; a first estimate takes at most {MOST_UNKNOWNS}")
    stiffness = stiffness_of(mesh, basis, youngs_modulus_mpa, poisson)
    load = _load(mesh, basis, forces)
    places = basis.doflocs.T
    free = np.flatnonzero(~held(places))
    for each in feet:
        stiffness = stiffness + _carried(mesh, basis, each, youngs_modulus_mpa, slides=clamped)
    moved = np.zeros(basis.N)
    moved[free] = _solve_free(stiffness, load, free)
    corners = moved[basis.nodal_dofs].T
    stress = _stress(mesh, moved, basis, youngs_modulus_mpa, poisson)
    return Solved(mesh.p.T, corners, stress, mesh.t.T, basis.N)


def stiffness_of(mesh: Any, basis: Any, young_mpa: float, poisson: float) -> Any:
    """Return the stiffness matrix of quadratic tetrahedra, all elements at once.

    scikit-fem's own linear elasticity gives the same matrix by a call for each pair of an element's 30 unknowns: ten
    times the work.
    """
    import skfem
    from scipy.sparse import coo_matrix
    from skfem.models.elasticity import lame_parameters

    lam, mu = lame_parameters(young_mpa, poisson)
    # Order 2 integrates the stiffness of straight-sided quadratic tetrahedra exactly.
    scalar = skfem.Basis(mesh, skfem.ElementTetP2(), intorder=2)
    # Slopes of the ten shape functions: (elements, 10, 3, points of integration).
    slopes = np.stack([np.broadcast_to(x[0].grad, (3, *scalar.dx.shape)) for x in scalar.basis]).transpose(2, 0, 1, 3)
    count, functions = slopes.shape[:2]
    flat = slopes.reshape(count, 3 * functions, -1)
    both = ((flat * scalar.dx[:, None, :]) @ flat.transpose(0, 2, 1)).reshape(count, functions, 3, functions, 3)
    local = lam * both + mu * both.transpose(0, 1, 4, 3, 2)
    inner = mu * np.einsum("eakbk->eab", both)
    for k in range(3):
        local[:, :, k, :, k] += inner
    unknowns = basis.element_dofs.T
    rows = np.repeat(unknowns, 3 * functions, axis=1).ravel()
    columns = np.tile(unknowns, (1, 3 * functions)).ravel()
    return coo_matrix((local.ravel(), (rows, columns)), (basis.N, basis.N)).tocsr()


def _cut(mesh: Any, held: Held) -> NDArray[np.bool_]:
    """Return the elements in which a clamp ends."""
    share = held(mesh.p.T)[mesh.t].sum(axis=0)
    return np.asarray((share > 0) & (share < mesh.t.shape[0]))


def _positive(points: Floats, tetrahedra: Ints) -> Ints:
    """Return the tetrahedra, all with positive volume."""
    a, b, c, d = (points[tetrahedra[:, i]] for i in range(4))
    volume = np.einsum("ij,ij->i", np.cross(b - a, c - a), d - a)
    out = tetrahedra.copy()
    out[volume < 0] = out[volume < 0][:, [0, 2, 1, 3]]
    return out


def _load(mesh: Any, basis: Any, forces: Sequence[PointForce]) -> Floats:
    """Return the load vector: each force as a traction on the surface triangles within its reach."""
    import skfem

    total = np.zeros(basis.N)
    facets = mesh.boundary_facets()
    corners = mesh.p[:, mesh.facets[:, facets]]
    middles = corners.mean(axis=1).T
    for force in forces:
        distance = np.linalg.norm(middles - np.asarray(force.at_mm), axis=1)
        near = distance <= max(force.reach_mm, float(distance.min()) * 1.0001)
        if distance.min() > 3 * force.reach_mm + 1.0:
            place = ", ".join(f"{x:g}" for x in force.at_mm)
            raise CannotSolve(f"the force at {place} mm lies {distance.min():.3g} mm off the part's surface")
        if force.evenly:
            near = _face(corners, middles, force)
        side = skfem.FacetBasis(mesh, basis.elem, facets=facets[near], intorder=2)
        area = float(side.dx.sum())
        pressure = np.asarray(force.force_n) / area

        @skfem.LinearForm  # type: ignore[untyped-decorator]
        def traction(v: Any, _: Any, pressure: Floats = pressure) -> Any:
            return pressure[0] * v[0] + pressure[1] * v[1] + pressure[2] * v[2]

        total += traction.assemble(side)
    return total


def _face(corners: Floats, middles: Floats, force: PointForce) -> NDArray[np.bool_]:
    """Return the surface triangles of the flat face that a force lies on and pushes or pulls."""
    a, b, c = (corners[:, i].T for i in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    at = np.asarray(force.at_mm)
    off = np.abs(np.einsum("ij,ij->i", at - middles, normal))
    along = np.abs(normal @ np.asarray(force.force_n)) / np.linalg.norm(force.force_n)
    on = np.flatnonzero((off < 0.05) & (along > 0.1))
    if not len(on):
        place = ", ".join(f"{x:g}" for x in force.at_mm)
        raise CannotSolve(f"the force at {place} mm is to push a whole face, and lies on no flat face that it pushes")
    nearest = on[np.linalg.norm(middles[on] - at, axis=1).argmin()]
    # The mesh has its corners in either order, so the normal's sign tells nothing.
    same = np.abs(normal @ normal[nearest]) > 0.999
    found: NDArray[np.bool_] = same & (np.abs((middles - middles[nearest]) @ normal[nearest]) < 0.05)
    return found


def _carried(mesh: Any, basis: Any, feet: Feet, young: float, *, slides: bool) -> Any:
    """Return what feet add to the stiffness: stiff springs at their very places, inside of elements or not.

    Nodes near a place would not do: rows of them at uneven distances hold a slope fast. `slides`: something else keeps
    the part from sliding.
    """
    from scipy.sparse import csr_matrix

    count = len(feet.places_mm)
    probes = basis.probes(_inside(mesh, feet.places_mm).T).tocsr()
    ways = [(x, feet.up) for x in range(count)]
    if not slides:
        first = feet.places_mm[0]
        last = int(np.linalg.norm(feet.places_mm - first, axis=1).argmax())
        side = np.cross(feet.up, feet.places_mm[last] - first)
        side = side / max(float(np.linalg.norm(side)), 1e-9)
        ways += [(0, side), (0, np.cross(feet.up, side)), (last, side)]
    # Probes have a row for each component of each place: here they are laid along the ways that are held.
    rows = np.repeat(np.arange(len(ways)), 3)
    columns = np.array([[k * count + place for k in range(3)] for place, _ in ways]).ravel()
    along = csr_matrix((np.concatenate([x for _, x in ways]), (rows, columns)), (len(ways), 3 * count))
    held = along @ probes
    return _FOOT * young * feet.reach_mm * (held.T @ held)


def _inside(mesh: Any, places: Floats) -> Floats:
    """Return the points of the mesh nearest to places: those of a surface lie a rounding error outside of it."""
    from scipy.spatial import cKDTree

    corners = mesh.p[:, mesh.t].transpose(2, 1, 0)
    near = np.atleast_2d(cKDTree(corners.mean(axis=1)).query(places, min(_NEAR, len(corners)))[1])
    found = np.empty_like(places)
    for row, (place, some) in enumerate(zip(places, near, strict=True)):
        tetra = corners[some]
        edges = (tetra[:, 1:] - tetra[:, :1]).transpose(0, 2, 1)
        share = np.linalg.solve(edges, (place - tetra[:, 0])[:, :, None])[:, :, 0]
        share = np.column_stack([1 - share.sum(axis=1), share])
        best = int(share.min(axis=1).argmax())
        inside = np.maximum(share[best], 1e-5)
        found[row] = inside / inside.sum() @ tetra[best]
    return found


def _solve_free(stiffness: Any, load: Floats, free: Ints) -> Floats:
    """Solve for the free unknowns.

    A direct factorisation: on thin parts it beat an algebraic multigrid (24 k unknowns 1.3 s against 15 to 30 s, which
    grew with the part's thinness), and it cannot stop half-way.
    """
    from scipy.sparse.linalg import splu

    matrix = stiffness[free][:, free].tocsc()
    try:
        factors = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    except RuntimeError:
        raise CannotSolve("a piece of the part is not held at all") from None
    found = factors.solve(load[free])
    left = float(np.linalg.norm(matrix @ found - load[free]))
    if not np.isfinite(found).all() or left > 1e-6 * max(float(np.linalg.norm(load)), 1e-30):
        raise CannotSolve("a piece of the part is not held at all")
    return np.asarray(found)


def _stress(mesh: Any, moved: Floats, basis: Any, youngs: float, poisson: float) -> Floats:
    """Return von Mises stress at the corner points: the mean of the elements around each."""
    import skfem
    from skfem.models.elasticity import lame_parameters

    lam, mu = lame_parameters(youngs, poisson)
    # At the corners themselves, so that bending stress is read at the surface and not inside it.
    reference = np.array([[0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1.0]])
    corner = skfem.Basis(mesh, basis.elem, quadrature=(reference, np.full(4, 1 / 24)))
    gradient = np.asarray(corner.interpolate(moved).grad)
    strain = (gradient + gradient.transpose(1, 0, 2, 3)) / 2
    trace = strain[0, 0] + strain[1, 1] + strain[2, 2]
    stress = 2 * mu * strain
    for k in range(3):
        stress[k, k] += lam * trace
    # Mean of the stress tensors at a point first, then von Mises: the other way round exaggerates.
    count = mesh.p.shape[1]
    index = mesh.t.T
    mean = np.zeros((3, 3, count))
    share = np.bincount(index.ravel(), minlength=count)
    for i in range(3):
        for j in range(3):
            mean[i, j] = np.bincount(index.ravel(), stress[i, j].ravel(), minlength=count) / share
    s = mean
    mises: Floats = np.sqrt(
        0.5 * ((s[0, 0] - s[1, 1]) ** 2 + (s[1, 1] - s[2, 2]) ** 2 + (s[2, 2] - s[0, 0]) ** 2)
        + 3 * (s[0, 1] ** 2 + s[1, 2] ** 2 + s[2, 0] ** 2)
    )
    return mises
