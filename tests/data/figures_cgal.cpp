// How many pairs of triangles cut each other, by CGAL; reads a triangle mesh in OFF from standard
// input. Prints "-" when it is no manifold that CGAL can hold. Used by figures.py.
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Polygon_mesh_processing/polygon_soup_to_polygon_mesh.h>
#include <CGAL/Polygon_mesh_processing/self_intersections.h>
#include <CGAL/Surface_mesh.h>
#include <iostream>
#include <vector>

namespace PMP = CGAL::Polygon_mesh_processing;
using Point = CGAL::Exact_predicates_inexact_constructions_kernel::Point_3;
using Mesh = CGAL::Surface_mesh<Point>;

int main()
{
    std::string magic;
    std::size_t points, faces, edges, three;
    std::cin >> magic >> points >> faces >> edges;
    std::vector<Point> point(points);
    std::vector<std::vector<std::size_t>> face(faces, std::vector<std::size_t>(3));
    for (auto &p : point) {
        double x, y, z;
        std::cin >> x >> y >> z;
        p = Point(x, y, z);
    }
    for (auto &f : face)
        std::cin >> three >> f[0] >> f[1] >> f[2];
    if (!std::cin || !PMP::is_polygon_soup_a_polygon_mesh(face)) {
        std::cout << "-\n";
        return 0;
    }
    Mesh mesh;
    PMP::polygon_soup_to_polygon_mesh(point, face, mesh);
    std::vector<std::pair<Mesh::Face_index, Mesh::Face_index>> pairs;
    PMP::self_intersections(mesh, std::back_inserter(pairs));
    std::cout << pairs.size() << "\n";
}
