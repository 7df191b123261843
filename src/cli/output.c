#include "cli/output.h"

#include <stdio.h>

#include "present/json.h"

bool tr_output_json(json_t *json, tr_error *err) {
    if (!json) return tr_fail_memory(err);
    bool ok = tr_json_print(json, stdout);
    json_decref(json);
    if (!ok) return tr_fail(err, TR_NO_FILE, "the result could not be written");
    return tr_output_end(err);
}

bool tr_output_end(tr_error *err) {
    if (fflush(stdout) == 0 && !ferror(stdout)) return true;
    return tr_fail(err, TR_NO_FILE, "the result could not be written to standard output");
}
