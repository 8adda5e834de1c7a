#!/bin/sh
# Writes the README's tables anew from the program's own: what stands between "<!-- fettle ... -->" and
# "<!-- end -->" becomes what that command prints. readme.sh PROGRAM README
set -eu
program=$1 readme=$2 new=$(mktemp)
trap 'rm -f "$new"' EXIT
skip=0
while IFS= read -r line; do
    case $line in
    '<!-- fettle '*)
        words=${line#'<!-- fettle '}
        printf '%s\n```\n' "$line" >>"$new"
        # shellcheck disable=SC2086 # the words are words
        "$program" ${words%' -->'} >>"$new"
        printf '```\n' >>"$new"
        skip=1
        continue
        ;;
    '<!-- end -->') skip=0 ;;
    esac
    [ $skip = 1 ] || printf '%s\n' "$line" >>"$new"
done <"$readme"
cat "$new" >"$readme"
