#!/bin/sh
# Makes boolean_pairs.txt: what CGAL's corefinement finds for the first pairs of the suite boolean_files.
# Run where the Makefile is, where build/unit is there:  tests/data/boolean_pairs.sh > tests/data/boolean_pairs.txt
set -e
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
c++ -O2 -o "$folder/volumes" tests/data/boolean_pairs.cpp -lgmp -lmpfr
FETTLE_PAIRS=$folder build/unit boolean_files >&2
echo "# Volumes of A - B, A or B, A and B by CGAL $(dpkg-query -f '${Version}' -W libcgal-dev), mm3, one line a pair"
echo "# (tests/support/file_solids.h) in the order of their seeds from 0; -: it declined, threw, or took more than 20 s."
seed=0
while [ -e "$folder/${seed}_a.off" ]; do
    line=$(echo "$folder/${seed}_a.off $folder/${seed}_b.off" | timeout 20 "$folder/volumes" || true)
    echo "${line:-- - -}"
    seed=$((seed + 1))
done
