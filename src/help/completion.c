#include "help/completion.h"

#include <stdbool.h>

#include "help/pages.h"

static const char HEAD[] =
    "# bash completion for trammel: made from the program's own help.\n"
    "\n"
    "# Adds the files of some extensions, and all folders.\n"
    "_trammel_files() {\n"
    "    local cur=$1 extension file\n"
    "    shift\n"
    "    while IFS= read -r file; do\n"
    "        if [[ -d $file ]]; then\n"
    "            COMPREPLY+=(\"$file\")\n"
    "            continue\n"
    "        fi\n"
    "        for extension; do\n"
    "            [[ ${file,,} == *.\"$extension\" ]] && COMPREPLY+=(\"$file\")\n"
    "        done\n"
    "    done < <(compgen -f -- \"$cur\")\n"
    "    compopt -o filenames 2>/dev/null\n"
    "}\n"
    "\n"
    "_trammel_words() {\n"
    "    local cur=$1\n"
    "    shift\n"
    "    local IFS=$'\\n'\n"
    "    COMPREPLY+=($(compgen -W \"$*\" -- \"$cur\"))\n"
    "}\n"
    "\n"
    "_trammel_folders() {\n"
    "    local IFS=$'\\n'\n"
    "    COMPREPLY+=($(compgen -d -- \"$1\"))\n"
    "    compopt -o filenames 2>/dev/null\n"
    "}\n"
    "\n"
    "_trammel() {\n"
    "    local cur=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]}\n"
    "    local command=${COMP_WORDS[1]}\n"
    "    COMPREPLY=()\n"
    "    # --out=FILE is three words for bash.\n"
    "    if [[ $cur == = ]]; then\n"
    "        cur=\n"
    "    elif [[ $before == = && COMP_CWORD -gt 2 ]]; then\n"
    "        before=${COMP_WORDS[COMP_CWORD - 2]}\n"
    "    fi\n";

static const char *kind_of(const char *complete) {
    switch (complete[0]) {
    case 'f': return "files";
    case 'd': return "folders";
    default: return "words";
    }
}

static void put_call(const char *complete, FILE *out) {
    fprintf(out, "_trammel_%s \"$cur\"%s", kind_of(complete), complete + 1);
}

static void put_values(const tr_help_command *command, FILE *out) {
    for (const tr_help_word *o = command->options; o->name; o++) {
        if (!o->value) continue;
        fprintf(out, "    '%s %s') ", command->name, o->name);
        if (o->complete) {
            put_call(o->complete, out);
            fputs("; ", out);
        }
        fputs("return ;;\n", out);
    }
}

static void put_options(const tr_help_command *command, FILE *out) {
    fprintf(out, "    %s) _trammel_words \"$cur\"", command->name);
    for (const tr_help_word *o = command->options; o->name; o++) fprintf(out, " %s", o->name);
    fputs(" ;;\n", out);
}

/* One call for all operands of a kind, so that nothing is offered twice. */
static void put_operands(const tr_help_command *command, char kind, FILE *out) {
    bool is_first = true;
    for (const tr_help_word *o = command->operands; o->name; o++) {
        if (!o->complete || o->complete[0] != kind) continue;
        if (is_first) {
            put_call(o->complete, out);
        } else {
            fputs(o->complete + 1, out);
        }
        is_first = false;
    }
    if (!is_first) fputs("; ", out);
}

void tr_help_bash_completion(FILE *out) {
    fputs(HEAD, out);
    fputs("    if [[ COMP_CWORD -eq 1 ]]; then\n        _trammel_words \"$cur\"", out);
    for (int i = 0; tr_help_commands[i]; i++) fprintf(out, " %s", tr_help_commands[i]->name);
    fputs(" help --help --version\n        return\n    fi\n"
          "    if [[ $command == help ]]; then\n"
          "        [[ COMP_CWORD -eq 2 ]] && _trammel_words \"$cur\" files",
          out);
    for (int i = 0; tr_help_commands[i]; i++) fprintf(out, " %s", tr_help_commands[i]->name);
    for (int i = 0; tr_help_formats[i]; i++) {
        const char *name = tr_help_formats[i]->name;
        if (!tr_help_find_command(name)) fprintf(out, " %s", name);
    }
    fputs("\n        return\n    fi\n    case \"$command $before\" in\n", out);
    for (int i = 0; tr_help_commands[i]; i++) put_values(tr_help_commands[i], out);
    fputs("    esac\n    if [[ $cur == -* ]]; then\n        case $command in\n", out);
    for (int i = 0; tr_help_commands[i]; i++) put_options(tr_help_commands[i], out);
    fputs("        esac\n        return\n    fi\n    case $command in\n", out);
    for (int i = 0; tr_help_commands[i]; i++) {
        fprintf(out, "    %s) ", tr_help_commands[i]->name);
        put_operands(tr_help_commands[i], 'f', out);
        put_operands(tr_help_commands[i], 'w', out);
        fputs(";;\n", out);
    }
    fputs("    esac\n}\n\ncomplete -F _trammel trammel\n", out);
}
