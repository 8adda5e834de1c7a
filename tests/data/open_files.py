"""Makes open_files.txt: what independent libraries read from files that nobody here wrote.

    /usr/bin/python3 open_files.py > open_files.txt

The files are those of the Debian packages assimp-testmodels and libcgal-dev (data.tar.gz). Vertices
are counted after joining equal positions (as floats), triangles as the sum of corners - 2 over all
faces. A file that the library does not read, or reads as nothing, has "-"; one that brings the library
down has "crash".
"""
import multiprocessing, os, tarfile, tempfile
import numpy as np
import open3d as o3d
import vtk
from vtk.util.numpy_support import vtk_to_numpy

ASSIMP = "/usr/share/assimp/models"
CGAL = "/usr/share/doc/libcgal-dev/data.tar.gz"
KINDS = (".stl", ".ply", ".obj", ".off", ".xyz", ".pwn", ".pts")


def by_vtk(path, kind):
    reader = {".stl": vtk.vtkSTLReader, ".ply": vtk.vtkPLYReader, ".obj": vtk.vtkOBJReader}[kind]()
    reader.SetFileName(path)
    if kind == ".stl":
        reader.MergingOff()
    reader.Update()
    data = reader.GetOutput()
    if data.GetNumberOfPoints() == 0:
        return None
    points = vtk_to_numpy(data.GetPoints().GetData()).astype(np.float32)
    cells, triangles = data.GetPolys(), 0
    ids = vtk.vtkIdList()
    cells.InitTraversal()
    while cells.GetNextCell(ids):
        triangles += max(ids.GetNumberOfIds() - 2, 0)
    return points, triangles


def by_open3d(path, kind):
    if kind in (".xyz", ".pwn", ".pts"):
        with open(path) as file:  # its own reader of .xyz wants exactly three or six columns
            points = np.array([[float(x) for x in line.split()[:3]] for line in file if line.strip()])
        return points.astype(np.float32), 0
    mesh = o3d.io.read_triangle_mesh(path)
    points = np.asarray(mesh.vertices).astype(np.float32)
    return (points, len(mesh.triangles)) if len(points) else None


def row(name, path, out):
    kind = os.path.splitext(path)[1].lower()
    library = "open3d" if kind == ".off" else "vtk" if kind in (".stl", ".ply", ".obj") else "numpy"
    try:
        found = by_vtk(path, kind) if library == "vtk" else by_open3d(path, kind)
    except Exception:
        found = None
    if not found:
        out.put(f"{name} {library} -")
        return
    points, triangles = found
    points = points[np.isfinite(points).all(axis=1)] + np.float32(0)  # -0 is 0
    distinct = len(np.unique(points, axis=0)) if triangles else len(points)
    low, high = points.min(axis=0), points.max(axis=0)
    out.put(f"{name} {library} {distinct} {triangles} " + " ".join("%.9g" % x for x in (*low, *high)))


def apart(name, path):
    """In a process of its own: some of the files bring a library down."""
    out = multiprocessing.Queue()
    process = multiprocessing.Process(target=row, args=(name, path, out))
    process.start()
    process.join()
    return f"{name} crash -" if process.exitcode else out.get()


def main():
    o3d.utility.set_verbosity_level(o3d.utility.VerbosityLevel.Error)
    vtk.vtkObject.GlobalWarningDisplayOff()
    print("# file library vertices triangles min max: made by open_files.py")
    print(f"# libraries: vtk {vtk.vtkVersion().GetVTKVersion()}, open3d {o3d.__version__}, numpy {np.__version__}")
    for folder in ("STL", "PLY", "OBJ", "OFF"):
        for name in sorted(os.listdir(f"{ASSIMP}/{folder}")):
            if name.lower().endswith(KINDS):
                print(apart(f"assimp/{folder}/{name}", f"{ASSIMP}/{folder}/{name}"))
    with tempfile.TemporaryDirectory() as temporary, tarfile.open(CGAL) as archive:
        archive.extractall(temporary)
        for folder, _, names in sorted(os.walk(temporary)):
            for name in sorted(names):
                if name.lower().endswith(KINDS):
                    path = os.path.join(folder, name)
                    print(apart("cgal/" + os.path.relpath(path, temporary), path))


if __name__ == "__main__":
    main()
