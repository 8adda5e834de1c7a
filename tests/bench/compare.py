#!/usr/bin/python3
"""Our figures beside those of general-purpose libraries, in one run: compare.py BENCH PEERS_FOLDER [RUNS] [TASK...]

BENCH is build/bench; PEERS_FOLDER a writable copy of the peers' harness (a program `peer`, its list peers.json, and data/).
Ours and each library take turns, RUNS times (3); the medians are printed, with the ratio to the fastest library that does the same
work, and what the judge says of the last output. Without libraries or data a row says what is missing; nothing is made up."""
import json
import os
import statistics
import subprocess
import sys

# task, input files, libraries to compare with, whether the output is judged
MATRIX = [
    ("load_weld", ["mesh_1m.stl"], ["c_limit", "vtk"], False),
    ("load_weld", ["mesh_8m.stl"], ["c_limit", "vtk"], False),
    ("self_intersections", ["mesh_1m.ply"], ["cgal"], False),
    ("self_intersections", ["broken_1m.ply"], ["cgal"], False),
    ("decimate", ["mesh_1m.ply"], ["meshopt", "cgal_lt"], True),
    ("cut_cap", ["mesh_1m.ply"], ["vtk"], True),
    ("cut_cap", ["mesh_4m.ply"], ["vtk"], True),
    ("boolean", ["mesh_1m.ply", "keyhole.ply"], ["manifold"], True),
    ("boolean", ["mesh_4m.ply", "keyhole.ply"], ["manifold"], True),
    ("fill_holes", ["holes_1m.ply"], ["cgal_fair"], True),
    ("fill_holes", ["holes_100k.ply"], ["cgal_fair"], True),
    ("deviation", ["mesh_1m.ply", "../out/decimate.ours.mesh_1m.ply"], ["embree"], False),
    ("fuse", ["aligned_0.ply", "aligned_1.ply", "aligned_2.ply", "aligned_3.ply"], ["open3d_poisson8", "open3d_poisson9"], True),
    ("icp", ["icp_src.ply", "icp_dst.ply"], ["pcl_p2pl", "open3d"], True),
    ("global_align", ["ring_%d.ply" % i for i in range(4)], ["open3d", "pcl_sacia"], True),
    ("global_align", ["scan_%d.ply" % i for i in range(4)], ["open3d", "pcl_sacia"], True),
]


def teach_ours(folder, bench):
    """Puts our command lines into the harness's list: the same arguments, after our program's name."""
    path = os.path.join(folder, "peers.json")
    peers = json.load(open(path))
    for task, row in peers.items():
        if "ours" in row:
            arguments = row["ours"].split(None, 2)[1:]
            row["ours"] = " ".join([bench] + [a for a in " ".join(arguments).split() if a != "--bench"])
    json.dump(peers, open(path, "w"), indent=1)


def one(folder, task, library, inputs, judged):
    command = [os.path.join(folder, "peer"), task, library] + [os.path.join(folder, "data", i) for i in inputs]
    done = subprocess.run(command + (["--judge"] if judged else []), cwd=folder, capture_output=True, text=True)
    lines = done.stdout.strip().splitlines()
    try:
        return json.loads(lines[-1])
    except (IndexError, ValueError):
        return {"error": (done.stderr or done.stdout or "no output").strip()[-120:]}


def median(results, key):
    values = [r[key] for r in results if isinstance(r.get(key), (int, float))]
    return statistics.median(values) if values else None


def told(judge):
    if not judge:
        return ""
    for name in ("rms_mm", "worst_rms_mm"):  # of poses
        if name in judge:
            return "%.4f mm from the true pose (RMS)" % judge[name]
    topo, dist = judge.get("topo", {}), judge.get("dist", {})
    text = "boundary %s, non-manifold %s" % (topo.get("boundary_edges"), topo.get("nonmanifold_edges"))
    rms = dist.get("rms", dist.get("rms_mm"))
    return text + (", RMS %.4g mm" % rms if isinstance(rms, (int, float)) else "")


def row(folder, runs, task, inputs, libraries, judged):
    if not all(os.path.exists(os.path.join(folder, "data", i)) for i in inputs):
        print("%-19s %-16s missing: %s" % (task, inputs[0], ", ".join(inputs)))
        return
    results = {name: [] for name in ["ours"] + libraries}
    for _ in range(runs):
        for name in results:
            results[name].append(one(folder, task, name, inputs, judged))
    best = min((median(results[l], "wall_s") or 1e9 for l in libraries if l != "c_limit"), default=1e9)
    for name, all_runs in results.items():
        wall, last = median(all_runs, "wall_s"), all_runs[-1]
        if wall is None:
            print("%-19s %-16s %-12s %s" % (task, inputs[0], name, last.get("error", "nothing was measured")))
            continue
        ratio = "%5.2f of the fastest library's" % (wall / best) if name == "ours" and best < 1e9 else ""
        print("%-19s %-16s %-12s %8.4f s %7.1f MB  %s %s" % (task, inputs[0], name, wall, median(all_runs, "peak_rss_mb") or 0,
                                                          told(last.get("judge")), ratio), flush=True)


def main():
    bench, folder = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
    rest = sys.argv[3:]
    runs = int(rest.pop(0)) if rest and rest[0].isdigit() else 3
    for name in ("out", "logs"):
        os.makedirs(os.path.join(folder, name), exist_ok=True)
    teach_ours(folder, bench)
    print("medians of %d runs; load %.1f" % (runs, os.getloadavg()[0]))
    for task, inputs, libraries, judged in MATRIX:
        if not rest or task in rest:
            row(folder, runs, task, inputs, libraries, judged)


if __name__ == "__main__":
    main()
