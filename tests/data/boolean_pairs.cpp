// What CGAL's corefinement finds for pairs of solids: reads lines "A.off B.off" from standard input and
// prints for each the volumes of A - B, A or B, A and B, or "-" where it throws or declines. Used by
// boolean_pairs.sh.
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Polygon_mesh_processing/corefinement.h>
#include <CGAL/Polygon_mesh_processing/measure.h>
#include <CGAL/Surface_mesh.h>
#include <CGAL/boost/graph/IO/OFF.h>
#include <fstream>
#include <iostream>

namespace PMP = CGAL::Polygon_mesh_processing;
using Point = CGAL::Exact_predicates_inexact_constructions_kernel::Point_3;
using Mesh = CGAL::Surface_mesh<Point>;

static void print(const Mesh &first, const Mesh &second, int kind)
{
    Mesh a = first, b = second, out;
    const auto checked = CGAL::parameters::throw_on_self_intersection(true);
    try {
        bool ok = kind == 0   ? PMP::corefine_and_compute_difference(a, b, out, checked)
                  : kind == 1 ? PMP::corefine_and_compute_union(a, b, out, checked)
                              : PMP::corefine_and_compute_intersection(a, b, out, checked);
        if (ok && CGAL::is_closed(out))
            std::cout << (kind ? " " : "") << (out.is_empty() ? 0.0 : PMP::volume(out));
        else
            std::cout << (kind ? " -" : "-");
    } catch (const std::exception &) {
        std::cout << (kind ? " -" : "-");
    }
}

int main()
{
    std::string name[2];
    std::cout.precision(9);
    while (std::cin >> name[0] >> name[1]) {
        Mesh mesh[2];
        for (int i = 0; i < 2; i++) {
            std::ifstream file(name[i]);
            if (!CGAL::IO::read_OFF(file, mesh[i]))
                return 1;
        }
        for (int kind = 0; kind < 3; kind++)
            print(mesh[0], mesh[1], kind);
        std::cout << std::endl;
    }
}
