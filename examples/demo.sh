#!/bin/sh
# The whole job on made-up data, as `make demo` runs it: demo.sh PROGRAM MAKE_SCAN FOLDER
set -eu
program=$1 make_scan=$2 folder=$3 recipe=$(cd "$(dirname "$0")" && pwd)/finial.recipe

say() { printf '\n== %s\n' "$*"; }

mkdir -p "$folder"
say "the made-up scan of a weathered gate finial, and its true shape"
"$make_scan" "$folder"
cd "$folder"

say "what the scanner left: fettle check finial-scan.ply"
"$program" check finial-scan.ply || test $? -eq 1 # faults are what it is here to show

say "clean, fill, cut flat, decimate, save: fettle run finial.recipe"
cp "$recipe" finial.recipe
"$program" run finial.recipe finial-scan.ply

say "what is handed over: fettle check finial.stl"
"$program" check finial.stl

say "how far from the true shape: fettle compare finial.stl finial-true.ply"
"$program" compare finial.stl finial-true.ply

say "the picture: fettle draw finial.ply"
"$program" draw finial.ply

if [ -t 0 ] && [ -t 1 ]; then
    say "now on the screen (q quits)"
    exec "$program" finial-scan.ply
fi
