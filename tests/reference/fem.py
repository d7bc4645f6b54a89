"""Axisymmetric finite elements, independent of the package: gmsh meshes, scikit-fem solves.

Time-harmonic vector potential A_phi [Wb/m] in (r, z), second-order triangles:

    integral nu (dA/dr + A/r)(dv/dr + v/r) r + nu dA/dz dv/dz r + j omega sigma A v r
        = sum over turns of V_k sigma v/(2 pi)

Every turn of the coil is a massive conductor with its own voltage V_k and the coil's current,
so that the crowding of current in the copper is part of the answer. Nothing of simkit is
imported here.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

MU0 = 4e-7 * np.pi


@dataclass(frozen=True)
class Region:
    """A conductor. `shape` is ("disk", r, z, radius) or ("box", r, z, width, height) [m]."""

    shape: tuple[object, ...]
    sigma: float  # [S/m]
    mu_r: float = 1.0  # [1]
    turn: bool = False  # carries the coil's current
    finer: float = 1.0  # its mesh over that of the others [1]


@dataclass(frozen=True)
class Answer:
    """Impedance at the coil's ends and the loss per region, for 1 A peak through the coil."""

    resistance: float  # [ohm]
    inductance: float  # [H]
    loss: tuple[float, ...]  # [W], one per region
    unknowns: int


@contextlib.contextmanager
def _session() -> Iterator[None]:
    import gmsh

    gmsh.initialize(interruptible=False)
    gmsh.option.setNumber("General.Terminal", 0)
    try:
        yield
    finally:
        gmsh.finalize()


def _depth(region: Region, frequency: float) -> float:
    return float(1.0 / np.sqrt(np.pi * frequency * MU0 * region.mu_r * region.sigma))


def _mesh(regions: list[Region], frequency: float, far: float, per_depth: float):
    """Nodes (2, n), triangles (3, m) and the region of each triangle (-1 for air)."""
    import gmsh

    with _session():
        occ = gmsh.model.occ
        world = [(2, occ.addRectangle(0.0, -far, 0.0, far, 2 * far))]
        parts = []
        for region in regions:
            kind, r, z, *size = region.shape
            if kind == "disk":
                parts.append((2, occ.addDisk(r, z, 0.0, size[0], size[0])))
            else:
                parts.append((2, occ.addRectangle(r, z, 0.0, *size)))
        _, mapping = occ.fragment(world, parts)
        occ.synchronize()
        owner = {tag: index for index, out in enumerate(mapping[1:]) for _, tag in out}
        fields = []
        for index, region in enumerate(regions):
            edges = gmsh.model.getBoundary(mapping[1 + index], oriented=False)
            depth = _depth(region, frequency)
            extent = min(region.shape[3:])
            fine = min(depth / per_depth, extent / 8.0) / region.finer
            distance = gmsh.model.mesh.field.add("Distance")
            # Edges on the axis are no surface.
            skin = [tag for _, tag in edges if gmsh.model.getBoundingBox(1, tag)[3] > 1e-6]
            gmsh.model.mesh.field.setNumbers(distance, "CurvesList", skin)
            gmsh.model.mesh.field.setNumber(distance, "Sampling", 400)
            grow = gmsh.model.mesh.field.add("MathEval")
            gmsh.model.mesh.field.setString(
                grow, "F", f"{fine} + 0.35*Max(F{distance} - {2.5 * depth}, 0)"
            )
            fields.append(grow)
        least = gmsh.model.mesh.field.add("Min")
        gmsh.model.mesh.field.setNumbers(least, "FieldsList", fields)
        gmsh.model.mesh.field.setAsBackgroundMesh(least)
        for option in ("FromPoints", "FromCurvature", "ExtendFromBoundary"):
            gmsh.option.setNumber(f"Mesh.MeshSize{option}", 0)
        gmsh.option.setNumber("Mesh.MeshSizeMax", far / 12)
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


def impedance(
    regions: list[Region], frequency: float, far: float = 0.3, per_depth: float = 1.5
) -> Answer:
    """Solve for 1 A peak in series through all regions with `turn`."""
    from scipy.sparse.linalg import splu
    from skfem import Basis, BilinearForm, ElementTriP2, LinearForm, MeshTri

    omega = 2 * np.pi * frequency
    nodes, triangles, owner = _mesh(regions, frequency, far, per_depth)
    used, triangles = np.unique(triangles, return_inverse=True)
    mesh = MeshTri(
        np.ascontiguousarray(nodes[:, used]), np.ascontiguousarray(triangles.reshape(3, -1))
    )
    basis = Basis(mesh, ElementTriP2(), intorder=5)
    mu_r = np.array([1.0, *(one.mu_r for one in regions)])[owner + 1]
    sigma = np.array([0.0, *(one.sigma for one in regions)])[owner + 1]

    @BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        r = w.x[0]
        curl = (u.grad[0] + u / r) * (v.grad[0] + v / r) + u.grad[1] * v.grad[1]
        return w.nu * curl * r

    @BilinearForm
    def mass(u, v, w):  # type: ignore[no-untyped-def]
        return w.sigma * u * v * w.x[0]

    @LinearForm
    def drive(v, w):  # type: ignore[no-untyped-def]
        return w.sigma * v / (2 * np.pi)

    def everywhere(values):  # type: ignore[no-untyped-def]
        return np.broadcast_to(values[:, None], basis.dx.shape)

    # ElementTriP2 has middle nodes; A = 0 on the axis and on the far boundary.
    k = stiffness.assemble(basis, nu=everywhere(1.0 / (MU0 * mu_r))) + 1j * omega * mass.assemble(
        basis, sigma=everywhere(sigma)
    )
    turns = [index for index, one in enumerate(regions) if one.turn]
    columns, conductance = [], []
    for index in turns:
        mine = np.where(owner == index, sigma, 0.0)
        columns.append(drive.assemble(basis, sigma=everywhere(mine)))
        area = mine[:, None] * basis.dx / (2 * np.pi * basis.global_coordinates()[0])
        conductance.append(float(area.sum()))
    # Current of a turn: V_k G_k - j omega sigma A integrated over it = 1 A, with A = K^-1 F V:
    # K alone is factored, so that the rows of the turns, which are dense, do not fill it.
    # The integral of sigma A needs no r: it is that of J dr dz, and drive has sigma v/(2 pi).
    free = np.setdiff1d(np.arange(basis.N), basis.get_dofs().flatten())
    inside = k.tocsc()[free][:, free]
    each = np.array(columns).T[free].astype(complex)
    answer = splu(inside.tocsc()).solve(each)
    own = np.diag(conductance) - 2j * np.pi * omega * each.T @ answer
    volts = np.linalg.solve(own, np.ones(len(turns), dtype=complex))
    solution = np.zeros(basis.N, dtype=complex)
    solution[free] = answer @ volts
    voltages = dict(zip(turns, volts, strict=True))
    total = complex(sum(voltages.values()))
    a = basis.interpolate(solution[: basis.N].real), basis.interpolate(solution[: basis.N].imag)
    potential = np.asarray(a[0]) + 1j * np.asarray(a[1])
    r = basis.global_coordinates()[0]
    loss = []
    for index, one in enumerate(regions):
        field = -1j * omega * potential + voltages.get(index, 0.0) / (2 * np.pi * r)
        dense = 0.5 * one.sigma * np.abs(field) ** 2 * 2 * np.pi * r * basis.dx
        loss.append(float(dense[owner == index].sum()))
    return Answer(total.real, total.imag / omega, tuple(loss), basis.N)
