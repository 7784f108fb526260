#!/bin/sh
# Drives Kakoune with kak-lsp as a user would, set up as the page of `editors/kakoune` has it; prints what is seen, one line a thing.
# sh kakoune.sh, with AMPERSUM_PROGRAM, AMPERSUM_EDITOR, AMPERSUM_FILE, AMPERSUM_FIX, and a HOME that may be written to
set -u
unset XDG_CONFIG_HOME
export XDG_RUNTIME_DIR="$HOME"
session="ampersum-$$"
settings="$HOME/.config/kak"
mkdir -p "$HOME/bin" "$settings/autoload"
ln -s "$AMPERSUM_PROGRAM" "$HOME/bin/ampersum"
ln -s "$AMPERSUM_EDITOR" "$settings/autoload/ampersum"
ln -s /usr/share/kak/autoload "$settings/autoload/standard"
echo 'evaluate-commands %sh{ kak-lsp }' >"$settings/kakrc"
export PATH="$HOME/bin:$PATH"

say() { printf '%s: %s\n' "$1" "$(printf %s "$2" | tr '\n' ' ')"; }

# Waits until a command says yes.
wait_for() {
  what=$1 tries=200
  shift
  until "$@" >/dev/null 2>&1; do
    tries=$((tries - 1))
    [ "$tries" -gt 0 ] || { say "too long" "$what"; return; }
    sleep 0.1
  done
}

# Lets the editor do this.
tell() { printf 'evaluate-commands -client client0 %%{ %s }\n' "$1" | kak -p "$session"; }

# Lets the editor do the first, and gives what it makes of the second.
ask() {
  rm -f "$HOME/answer"
  tell "$1; echo -to-file $HOME/answer.part -- $2; nop %sh{ mv $HOME/answer.part $HOME/answer }"
  patience=100
  until [ -e "$HOME/answer" ]; do
    patience=$((patience - 1))
    [ "$patience" -gt 0 ] || return
    sleep 0.05
  done
  cat "$HOME/answer"
}

# Where the findings are: `6.32,6.34|DiagnosticError`, a line each.
findings() { ask nop '%opt{lsp_inline_diagnostics}' | tr ' ' '\n' | grep '|'; }
word_at() { ask "select $1" '%val{selection}'; }
text() { ask "write -force $HOME/text" x >/dev/null && cat "$HOME/text"; }

kak -ui dummy -s "$session" "$AMPERSUM_FILE" >"$HOME/kak" 2>&1 &
wait_for "the editor" ask nop x
say "file type" "$(ask nop '%opt{filetype}')"
say "comment" "$(ask nop '%opt{comment_line}')"

wait_for findings findings
for it in $(findings); do
  say squiggle "$(printf %s "${it#*|Diagnostic}" | tr '[:upper:]' '[:lower:]') at $(word_at "${it%|*}")"
done

# The last word of the path.
tell "select 4.34,4.34; lsp-hover-buffer"
has_hover() {
  rm -f "$HOME/hover"
  tell "evaluate-commands -buffer *hover* %{ write -force $HOME/hover }"
  sleep 0.2
  grep -q '[0-9] V' "$HOME/hover"
}
wait_for "the hover" has_hover
say hover "$(cat "$HOME/hover")"

# The way to where a name comes from.
tell "buffer $AMPERSUM_FILE; select 5.30,5.30; lsp-definition"
at_definition() { [ "$(ask nop '%val{cursor_line}')" = 4 ]; }
wait_for "the definition" at_definition
say definition "line $(ask nop '%val{cursor_line}')"

# The explanation of the equation at `sum`, which this client can only be given as a comment.
tell "select 4.17,4.17; lsp-code-action 'Write the explanation as a comment above'"
explained() { text | grep -q '^# Equation at sum'; }
wait_for "the explanation" explained
say explanation "$(text | sed -n '/^# Equation at sum/,/^in --/p' | sed '$d')"

# The fix at the finding, once the findings have followed the text, which the comment has moved.
at_new_place() { it=$(findings) && [ "$(word_at "${it%|*}")" = "4,7" ]; }
wait_for "the finding at its new place" at_new_place
tell "lsp-code-action '$AMPERSUM_FIX'"
fixed() { ! findings; }
wait_for "the end of findings" fixed
say "findings left" "$(findings | wc -l)"
say "fixed line" "$(text | grep '^out -- RS')"

tell "lsp-exit; kill!"
wait
