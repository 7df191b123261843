#!/usr/bin/env bash
# What bash completes, asked as bash asks: COMP_WORDS and COMP_CWORD in, COMPREPLY out.
#   tests/completion.bash SCRIPT PROGRAM
set -euo pipefail
script=$(realpath "$1")
program=$(realpath "$2")

folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cd "$folder"
mkdir sheets 'my photos'
touch job.yaml other.yml notes.txt a.jpg B.JPG c.heic out.pdf 'my photos/1.jpg' -- -x.yaml

# shellcheck source=/dev/null
source "$script"
complete -p trammel >/dev/null

failures=0
complete_words() { # words behind "trammel", the last one being completed: what is offered, sorted
    COMP_WORDS=(trammel "$@")
    COMP_CWORD=$#
    COMPREPLY=()
    _trammel || true
    if [ ${#COMPREPLY[@]} -gt 0 ]; then printf '%s\n' "${COMPREPLY[@]}" | LC_ALL=C sort; fi
}

expect() { # what is to be offered, one a line; words
    local wanted=$1 offered
    shift
    offered=$(complete_words "$@")
    wanted=$(if [ -n "$wanted" ]; then LC_ALL=C sort <<<"$wanted"; fi)
    [ "$offered" = "$wanted" ] && return
    printf 'trammel %s<TAB>\n offers: %s\n wanted: %s\n' "$*" "${offered//$'\n'/ }" "${wanted//$'\n'/ }" >&2
    failures=$((failures + 1))
}

# Commands are those of the program's help; so are options, and formats.
commands=$("$program" help | sed -nE 's/^  ([a-z-]+)  +[a-z].*/\1/p')
[ "$(wc -l <<<"$commands")" -ge 5 ] || { echo "commands: $commands" >&2; exit 1; }
expect "$commands"$'\nhelp\n--help\n--version' ''
for command in $commands; do
    options=$("$program" "$command" --help | sed -nE 's/^  (--[a-z-]+).*/\1/p')
    [ -n "$options" ] || { echo "no options of $command" >&2; exit 1; }
    expect "$options" "$command" --
done
formats=$("$program" help files | sed -nE '/^Formats/,/^$/s/^  ([a-z-]+)  +.*/\1/p')
[ "$(wc -l <<<"$formats")" -ge 6 ] || { echo "formats: $formats" >&2; exit 1; }
expect "$(printf '%s\n' files "$commands" "$formats" | sort -u)" help ''

expect 'check' ch
expect 'lens-profile' help lens-p
expect '--picture' check job.yaml --p
expect '' frobnicate ''
expect '' help check ''

# Files by their kind, and folders on the way to them.
expect $'-x.yaml\na.jpg\nB.JPG\nc.heic\njob.yaml\nmy photos\nother.yml\nsheets' check ''
expect $'a.jpg\nB.JPG\nc.heic\nmy photos\nsheets' lens ''
expect 'my photos/1.jpg' lens 'my photos/'
expect $'out.pdf\nsheets\nmy photos' print sheets/a.yaml --out ''
expect 'out.pdf' print sheets/a.yaml --out = o
expect $'-x.yaml\njob.yaml\nother.yml\nsheets\nmy photos' survey job.yaml --out = ''
expect $'sheets\nmy photos' design plate --sheets ''

# Words in the place of values and operands.
expect $'A4\nA3' print sheets/a.yaml --page A
expect $'plate\npointer\nhub\nmat\nboard\ncheckerboard' design ''
expect $'tag36h11\ntag36h10' design plate --family tag36
expect '' check --threads ''

[ "$failures" -eq 0 ]
