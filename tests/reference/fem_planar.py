"""Plane finite elements of conductors in a window, independent of the package.

Vector potential A_z [Wb/m], second-order triangles by gmsh and scikit-fem. One period of a
winding: above and below no field along the edge (walls of ferrite, or the next period), on the left
none either, on the right the flux runs along the edge. Every conductor has its own voltage and
carries 1 A peak. Nothing of simkit is imported here.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

MU0 = 4e-7 * np.pi


@dataclass(frozen=True)
class Conductor:
    """A disk or ring ("round", x, y, radius, inner radius) or a ("box", x, y, width, height) [m],
    x and y of its middle."""

    kind: str
    x: float
    y: float
    a: float
    b: float


@contextlib.contextmanager
def _session() -> Iterator[None]:
    import gmsh

    gmsh.initialize(interruptible=False)
    gmsh.option.setNumber("General.Terminal", 0)
    try:
        yield
    finally:
        gmsh.finalize()


def _mesh(conductors: list[Conductor], width: float, height: float, fine: float):
    """Nodes, triangles and the conductor of each triangle, -1 for air."""
    import gmsh

    with _session():
        occ = gmsh.model.occ
        world = [(2, occ.addRectangle(0.0, -height / 2, 0.0, width, height))]
        parts = []
        for c in conductors:
            if c.kind == "box":
                parts.append([(2, occ.addRectangle(c.x - c.a / 2, c.y - c.b / 2, 0, c.a, c.b))])
                continue
            disk = [(2, occ.addDisk(c.x, c.y, 0.0, c.a, c.a))]
            if c.b:
                bore = [(2, occ.addDisk(c.x, c.y, 0.0, c.b, c.b))]
                disk = occ.cut(disk, bore)[0]
            parts.append(disk)
        _, mapping = occ.fragment(world, [p[0] for p in parts])
        occ.synchronize()
        owner = {tag: index for index, out in enumerate(mapping[1:]) for _, tag in out}
        edges = [
            tag for out in mapping[1:] for _, tag in gmsh.model.getBoundary(out, oriented=False)
        ]
        distance = gmsh.model.mesh.field.add("Distance")
        gmsh.model.mesh.field.setNumbers(distance, "CurvesList", edges)
        gmsh.model.mesh.field.setNumber(distance, "Sampling", 200)
        grow = gmsh.model.mesh.field.add("MathEval")
        gmsh.model.mesh.field.setString(grow, "F", f"{fine} + 0.3*F{distance}")
        gmsh.model.mesh.field.setAsBackgroundMesh(grow)
        for option in ("FromPoints", "FromCurvature", "ExtendFromBoundary"):
            gmsh.option.setNumber(f"Mesh.MeshSize{option}", 0)
        gmsh.model.mesh.generate(2)
        tags, xyz, _ = gmsh.model.mesh.getNodes()
        place = np.zeros(int(tags.max()) + 1, dtype=int)
        place[tags.astype(int)] = np.arange(len(tags))
        triangles, owners = [], []
        for _, surface in gmsh.model.getEntities(2):
            nodes = gmsh.model.mesh.getElements(2, surface)[2][0].reshape(-1, 3)
            triangles.append(place[nodes.astype(int)])
            owners.append(np.full(len(nodes), owner.get(surface, -1)))
        return xyz.reshape(-1, 3)[:, :2].T, np.vstack(triangles).T, np.concatenate(owners)


def resistance_ratio(
    conductors: list[Conductor],
    width: float,
    height: float,
    resistivity: float,
    frequency: float,
) -> float:
    """AC over DC resistance of all conductors in series [1]."""
    from scipy.sparse import bmat, csr_matrix, diags
    from scipy.sparse.linalg import splu
    from skfem import Basis, BilinearForm, ElementTriP2, LinearForm, MeshTri

    omega, sigma = 2 * np.pi * frequency, 1.0 / resistivity
    depth = np.sqrt(resistivity / (np.pi * frequency * MU0))
    least = min(min(c.a, c.b or c.a) for c in conductors)
    nodes, triangles, owner = _mesh(conductors, width, height, min(depth / 2.0, least / 6.0))
    used, triangles = np.unique(triangles, return_inverse=True)
    mesh = MeshTri(np.ascontiguousarray(nodes[:, used]), triangles.reshape(3, -1))
    basis = Basis(mesh, ElementTriP2(), intorder=5)

    @BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        return (u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1]) / MU0

    @BilinearForm
    def mass(u, v, w):  # type: ignore[no-untyped-def]
        return w.s * u * v

    @LinearForm
    def drive(v, w):  # type: ignore[no-untyped-def]
        return w.s * v

    def everywhere(values):  # type: ignore[no-untyped-def]
        return np.broadcast_to(values[:, None], basis.dx.shape)

    inside = np.where(owner >= 0, sigma, 0.0)
    k = stiffness.assemble(basis) + 1j * omega * mass.assemble(basis, s=everywhere(inside))
    masks = [np.where(owner == i, sigma, 0.0) for i in range(len(conductors))]
    f = csr_matrix(np.array([drive.assemble(basis, s=everywhere(m)) for m in masks]).T)
    conductance = np.array([float((m[:, None] * basis.dx).sum()) for m in masks])
    full = bmat([[k, -f], [-1j * omega * f.T, diags(conductance)]]).tocsc()
    right_edge = basis.get_dofs(lambda x: np.isclose(x[0], width)).flatten()
    keep = np.setdiff1d(np.arange(basis.N + len(conductors)), right_edge)
    load = np.zeros(basis.N + len(conductors), dtype=complex)
    load[basis.N :] = 1.0
    solved = splu(full[keep][:, keep]).solve(load[keep])
    voltages = solved[-len(conductors) :]
    return float(voltages.real.sum() / (1.0 / conductance).sum())
