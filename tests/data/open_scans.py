"""Makes open_scans.txt: where an independent library puts one open scan onto another.

    /usr/bin/python3 open_scans.py > open_scans.txt

The scans are two views of one object among the data of the Debian package libcgal-dev (data.tar.gz),
points with normals. Open3D: features of points (FPFH), RANSAC on their matches, then point-to-plane
ICP over what lies within three spacings; the best of five runs. Rows of the matrix that takes the
second onto the first, in the file's unit.
"""
import os, tarfile, tempfile
import open3d as o3d

CGAL = "/usr/share/doc/libcgal-dev/data.tar.gz"
NAMES = ["data/points_3/hippo1.ply", "data/points_3/hippo2.ply"]
VOXEL, NEAR = 0.03, 0.015

reg = o3d.pipelines.registration


def described(cloud):
    thin = cloud.voxel_down_sample(VOXEL)
    around = o3d.geometry.KDTreeSearchParamHybrid(5 * VOXEL, 100)
    return thin, reg.compute_fpfh_feature(thin, around)


def main():
    with tempfile.TemporaryDirectory() as folder, tarfile.open(CGAL) as archive:
        for name in NAMES:
            archive.extract(name, folder)
        fixed, moving = (o3d.io.read_point_cloud(os.path.join(folder, n)) for n in NAMES)
    (thin_fixed, of_fixed), (thin_moving, of_moving) = described(fixed), described(moving)
    best = None
    for seed in range(5):
        o3d.utility.random.seed(seed)
        rough = reg.registration_ransac_based_on_feature_matching(
            thin_moving, thin_fixed, of_moving, of_fixed, True, 1.5 * VOXEL,
            reg.TransformationEstimationPointToPoint(False), 3,
            [reg.CorrespondenceCheckerBasedOnEdgeLength(0.9),
             reg.CorrespondenceCheckerBasedOnDistance(1.5 * VOXEL)],
            reg.RANSACConvergenceCriteria(200000, 0.999))
        fine = reg.registration_icp(
            moving, fixed, NEAR, rough.transformation,
            reg.TransformationEstimationPointToPlane(),
            reg.ICPConvergenceCriteria(1e-9, 1e-9, 200))
        if best is None or fine.fitness > best.fitness:
            best = fine
    print("# %s onto %s: Open3D %s, %.0f %% within %g, RMS %.6f" % (
        NAMES[1], NAMES[0], o3d.__version__, 100 * best.fitness, NEAR, best.inlier_rmse))
    for row in best.transformation:
        print(" ".join("%.9f" % x for x in row))


main()
