#include "cli/output.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/json.h"

bool tr_output_make(json_t *json, char **text, size_t *size, tr_error *err) {
    *text = NULL;
    *size = 0;
    FILE *to = json ? open_memstream(text, size) : NULL;
    bool ok = to && tr_json_print(json, to);
    if (to && fclose(to) != 0) ok = false;
    json_decref(json);
    if (ok && *text) return true;
    free(*text);
    *text = NULL;
    return tr_fail_memory(err);
}

bool tr_output_text(const char *text, size_t size, tr_error *err) {
    if (fwrite(text, 1, size, stdout) != size)
        return tr_fail(err, TR_NO_FILE, "the result could not be written");
    return tr_output_end(err);
}

bool tr_output_json(json_t *json, tr_error *err) {
    char *text;
    size_t size;
    bool ok = tr_output_make(json, &text, &size, err) && tr_output_text(text, size, err);
    free(text);
    return ok;
}

bool tr_output_end(tr_error *err) {
    if (fflush(stdout) == 0 && !ferror(stdout)) return true;
    return tr_fail(err, TR_NO_FILE, "the result could not be written to standard output");
}
