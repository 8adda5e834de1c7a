#!/bin/sh
# The whole job on made-up data, as `make demo` runs it: demo.sh PROGRAM MAKE_SCAN FOLDER
set -eu
program=$1 make_scan=$2 folder=$3 recipes=$(cd "$(dirname "$0")" && pwd)

say() { printf '\n== %s\n' "$*"; }

mkdir -p "$folder"
cp "$recipes"/*.recipe "$folder"
say "four raw scans of a weathered gate finial, and its true shape"
"$make_scan" raw "$folder"
cd "$folder"

say "one of them: fettle check raw-1.ply"
"$program" check raw-1.ply

say "clear the table, align, fuse, decimate, save: fettle run four_scans.recipe raw-1.ply ... raw-4.ply"
"$program" run four_scans.recipe raw-1.ply raw-2.ply raw-3.ply raw-4.ply

say "what is handed over: fettle check replica.stl"
"$program" check replica.stl

say "the same hollowed, standing on its foot, with drains: fettle run hollow.recipe replica.ply"
"$program" run hollow.recipe replica.ply
"$program" check hollow.stl

say "how far it is from what the scans saw (the way back counts its inside too): fettle compare measured.ply hollow.stl"
"$program" compare measured.ply hollow.stl

say "how far from the true shape what was measured is, put back to where the first scan was taken: fettle compare"
{ grep 'piece=1$' raw-truth.recipe; echo bare; echo 'save fused-bare.ply over=yes'; } > back.recipe
"$program" run --quiet back.recipe fused.ply
"$program" compare fused-bare.ply raw-true.ply

say "another one comes by mail: merged already, but with the table, specks and holes in it"
"$make_scan" .
"$program" check finial-scan.ply || test $? -eq 1 # faults are what it is here to show

say "clean, fill, cut flat, decimate, save: fettle run finial.recipe finial-scan.ply"
"$program" run finial.recipe finial-scan.ply
"$program" check finial.stl
"$program" compare finial.stl finial-true.ply

say "half of it, to hang on a wall: two keyholes 60 mm apart and a template to drill by: fettle run hanging.recipe finial.ply"
"$program" run hanging.recipe finial.ply
"$program" check hanging.stl

say "its face and that of the scan, without the table: fettle compare"
{ echo 'dust smaller=5%'; echo 'cut through=0,0,1 normal=0,0,1 cap=no'; echo 'cut through=0,-2,0 normal=0,1,0 cap=no';
  echo 'save scan-front.ply over=yes'; } > front.recipe
"$program" run --quiet front.recipe finial-scan.ply
"$program" compare hanging-front.ply scan-front.ply

say "the picture: fettle draw finial.ply"
"$program" draw finial.ply

if [ -t 0 ] && [ -t 1 ]; then
    say "now on the screen (q quits)"
    exec "$program" finial-scan.ply
fi
