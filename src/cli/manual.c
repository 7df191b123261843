/* Writes what is installed beside the program, from its help: the manual pages, the shell's
   completion.
     manual FOLDER DATE */
#include <stdbool.h>
#include <stdio.h>

#include "base/language.h"
#include "help/completion.h"
#include "help/pages.h"
#include "help/roff.h"
#include "present/cautions.h"

enum { PATH_SIZE = 4096 };

static FILE *open_file(const char *folder, const char *name, int section) {
    char path[PATH_SIZE];
    const char *dash = *name ? "-" : "";
    if (section > 0)
        snprintf(path, sizeof path, "%s/trammel%s%s.%d", folder, dash, name, section);
    else
        snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "w");
    if (!file) perror(path);
    return file;
}

static bool close_file(FILE *file) {
    bool ok = !ferror(file);
    if (fclose(file) != 0) ok = false;
    if (!ok) fputs("manual: a page could not be written\n", stderr);
    return ok;
}

static bool write_pages(const char *folder, tr_help_manual m) {
    for (int i = 0; tr_help_commands[i]; i++) {
        if (!(m.out = open_file(folder, tr_help_commands[i]->name, 1))) return false;
        tr_help_command_roff(tr_help_commands[i], &m);
        if (!close_file(m.out)) return false;
    }
    for (int i = 0; tr_help_formats[i]; i++) {
        if (!(m.out = open_file(folder, tr_help_formats[i]->name, 5))) return false;
        tr_help_format_roff(tr_help_formats[i], &m);
        if (!close_file(m.out)) return false;
    }
    if (!(m.out = open_file(folder, "", 1))) return false;
    tr_help_program_roff(&m);
    if (!close_file(m.out) || !(m.out = open_file(folder, tr_help_files.name, 5))) return false;
    tr_help_files_roff(&m);
    return close_file(m.out);
}

int main(int argc, char **argv) {
    if (argc != 3) {
        fputs("usage: manual FOLDER DATE\n", stderr);
        return 64;
    }
    tr_english_begin();
    tr_help_manual m = {
        .version = TRAMMEL_VERSION, .date = argv[2], .cautions = tr_cautions(), .out = NULL};
    if (!write_pages(argv[1], m)) return 1;
    FILE *script = open_file(argv[1], "trammel.bash", 0);
    if (!script) return 1;
    tr_help_bash_completion(script);
    return close_file(script) ? 0 : 1;
}
