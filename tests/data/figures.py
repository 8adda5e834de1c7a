"""Makes figures.txt: what independent libraries say of the meshes that nobody here wrote.

    /usr/bin/python3 figures.py > figures.txt

The files are those of open_files.py that hold triangles only, at coordinates that floats hold well.
They are read by VTK (OFF: here) and joined where positions are equal as floats. Then
    area, components, boundary and non-manifold edges, non-manifold vertices, Euler: Open3D
    volume, misoriented edges, duplicates: NumPy
    degenerate triangles: fractions, exactly
    self-intersections: CGAL (figures_cgal.cpp)
"-" where the library has no answer: the volume of what is open; CGAL takes manifolds without degenerate
triangles only; Open3D does not call the ends of a non-manifold edge non-manifold vertices, so where
there are such edges nothing is said of vertices.
"""
import os, subprocess, sys, tarfile, tempfile
from fractions import Fraction
import numpy as np
import open3d as o3d
import vtk
from vtk.util.numpy_support import vtk_to_numpy

from open_files import ASSIMP, CGAL

HERE = os.path.dirname(os.path.abspath(__file__))


def read_off(path):
    with open(path, errors="replace") as file:
        words = [w for line in file for w in line.split("#")[0].split()]
    if not words or words[0] != "OFF":
        return None
    points, faces, at = int(words[1]), int(words[2]), 4
    position = np.array(words[at:at + 3 * points], float).reshape(-1, 3)
    at += 3 * points
    rest = words[at:]
    if len(rest) != 4 * faces:  # colours, or faces that are no triangles
        return None
    face = np.array(rest, int).reshape(-1, 4)
    return (position, face[:, 1:]) if (face[:, 0] == 3).all() else None


def read_vtk(path, kind):
    reader = {".stl": vtk.vtkSTLReader, ".ply": vtk.vtkPLYReader, ".obj": vtk.vtkOBJReader}[kind]()
    reader.SetFileName(path)
    if kind == ".stl":
        reader.MergingOff()
    reader.Update()
    data = reader.GetOutput()
    cells = data.GetPolys()
    if data.GetNumberOfPoints() == 0 or cells.GetNumberOfCells() == 0:
        return None
    sizes = np.diff(vtk_to_numpy(cells.GetOffsetsArray()))
    if not (sizes == 3).all():
        return None
    return vtk_to_numpy(data.GetPoints().GetData()), vtk_to_numpy(cells.GetConnectivityArray()).reshape(-1, 3)


def join(points, faces):
    points = points.astype(np.float32) + np.float32(0)
    points, where = np.unique(points, axis=0, return_inverse=True)
    return points.astype(float), where[faces]


def is_flat(p):
    a, b, c = ([Fraction(float(x)) for x in q] for q in p)
    u, v = [b[i] - a[i] for i in range(3)], [c[i] - a[i] for i in range(3)]
    return all(u[i] * v[(i + 1) % 3] == u[(i + 1) % 3] * v[i] for i in range(3))


def degenerate(points, faces):
    p = points[faces]
    cross = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    longest = np.abs(p[:, 1] - p[:, 0]).max(1) + np.abs(p[:, 2] - p[:, 0]).max(1) + np.abs(p).max((1, 2))
    doubtful = np.abs(cross).max(1) <= 1e-12 * longest**2
    return sum(is_flat(q) for q in p[doubtful])


def misoriented(faces):
    half = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    half = half[half[:, 0] != half[:, 1]]
    way = half[:, 0] < half[:, 1]
    edge, index, count = np.unique(np.sort(half, 1), axis=0, return_inverse=True, return_counts=True)
    forward = np.bincount(index, weights=way)
    return int(((count == 2) & (forward != 1)).sum())


def crossings(points, faces, program):
    text = "OFF\n%d %d 0\n" % (len(points), len(faces))
    text += "".join("%.17g %.17g %.17g\n" % tuple(p) for p in points)
    text += "".join("3 %d %d %d\n" % tuple(f) for f in faces)
    done = subprocess.run([program], input=text, capture_output=True, text=True)
    return done.stdout.strip() if done.returncode == 0 else "-"


def figures(points, faces, program):
    mesh = o3d.geometry.TriangleMesh(o3d.utility.Vector3dVector(points), o3d.utility.Vector3iVector(faces))
    used = len(np.unique(faces))
    every = len(np.asarray(mesh.get_non_manifold_edges(allow_boundary_edges=False)))
    many = len(np.asarray(mesh.get_non_manifold_edges(allow_boundary_edges=True)))
    flipped, flat = misoriented(faces), degenerate(points, faces)
    repeated = ((faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])).any()
    if repeated:  # Open3D takes a side of no length for an edge
        return None
    closed = every == 0 and flipped == 0
    p = points[faces]
    volume = np.einsum("ij,ij->i", p[:, 0], np.cross(p[:, 1], p[:, 2])).sum() / 6
    pieces = len(np.asarray(mesh.cluster_connected_triangles()[1]))
    return [len(points), len(faces), "%.9g" % mesh.get_surface_area(), "%.9g" % volume if closed else "-", pieces,
            every - many, many, "-" if many else len(mesh.get_non_manifold_vertices()), flipped, flat,
            len(faces) - len(np.unique(np.sort(faces, 1), axis=0)),
            "-" if flat else crossings(points, faces, program),
            mesh.euler_poincare_characteristic() - (len(points) - used)]


def row(name, path, program):
    kind = os.path.splitext(path)[1].lower()
    try:
        found = read_off(path) if kind == ".off" else read_vtk(path, kind)
    except (ValueError, IndexError):
        return
    if not found or len(found[1]) == 0:
        return
    points, faces = found
    if not np.isfinite(points).all() or np.abs(points).max() > 1e4 or faces.max() >= len(points):
        return
    line = figures(*join(points, faces), program)
    if line:
        print(name, *line, flush=True)


def main():
    o3d.utility.set_verbosity_level(o3d.utility.VerbosityLevel.Error)
    vtk.vtkObject.GlobalWarningDisplayOff()
    work = tempfile.mkdtemp()
    program = os.path.join(work, "crossings")
    sys.stdout.flush()
    subprocess.run(["g++", "-O2", os.path.join(HERE, "figures_cgal.cpp"), "-o", program, "-lgmp", "-lmpfr"], check=True)
    tarfile.open(CGAL).extractall(work)
    version = subprocess.run(["dpkg-query", "-W", "-f", "${Version}", "libcgal-dev"], capture_output=True, text=True)
    print("# file vertices triangles area volume components boundary_edges nonmanifold_edges nonmanifold_vertices")
    print("#   misoriented_edges degenerate_triangles duplicate_triangles self_intersections euler_characteristic: made by figures.py")
    print(f"# libraries: open3d {o3d.__version__}, vtk {vtk.vtkVersion().GetVTKVersion()}, numpy {np.__version__}, cgal {version.stdout}", flush=True)
    names = [line.split()[0] for line in open(os.path.join(HERE, "open_files.txt")) if line[0] != "#"]
    for name in names:
        root = ASSIMP if name.startswith("assimp/") else work
        if os.path.splitext(name)[1].lower() in (".stl", ".ply", ".obj", ".off") and "issue623" not in name:
            path = os.path.join(root, name.split("/", 1)[1])  # on its own: some bring a library down
            subprocess.run([sys.executable, os.path.abspath(__file__), name, path, program], stderr=subprocess.DEVNULL)


if __name__ == "__main__":
    row(*sys.argv[1:]) if len(sys.argv) == 4 else main()
