/* Any set of files as a survey (fuzz_files_open): the survey, its lens profile, its sheets, a scale
   bar. Then every mark by its name, and by names that the input makes up. */
#include "fuzz.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "survey/spec.h"

static void check_spec(const tr_survey_spec *spec) {
    FUZZ_CHECK(spec->path && spec->id[0] && spec->n_sheets >= 1);
    FUZZ_CHECK(spec->n_bars + spec->n_rules >= 1);
    for (int i = 0; i < spec->n_stuck; i++) {
        FUZZ_CHECK(spec->stuck[i].sheet >= 0 && spec->stuck[i].sheet < spec->n_sheets);
        FUZZ_CHECK(spec->stuck[i].size_mm > 0);
    }
    for (int i = 0; i < spec->n_bars; i++) {
        FUZZ_CHECK(spec->bars[i].distance_mm > 0 && spec->bars[i].sd_mm > 0);
    }
    for (int i = 0; i < spec->n_rules; i++) {
        FUZZ_CHECK(spec->rules[i].sheet >= 0 && spec->rules[i].sheet < spec->n_sheets);
        FUZZ_CHECK(spec->rules[i].sd_mm > 0);
        FUZZ_CHECK(spec->rules[i].is_measured[0] || spec->rules[i].is_measured[1]);
    }
    for (int i = 0; i < spec->n_photos; i++) FUZZ_CHECK(spec->photos[i] != NULL);
}

static void find_mark(const tr_survey_spec *spec, const char *name) {
    tr_mark_name mark;
    tr_error err = {0};
    char title[128];
    bool ok = tr_survey_find_mark(spec, name, &mark, &err);
    fuzz_check_error(ok, &err);
    if (!ok) return;
    FUZZ_CHECK(mark.sheet >= 0 && mark.sheet < spec->n_sheets && mark.index >= 0);
    FUZZ_CHECK(mark.index < (mark.is_tag ? tr_survey_n_tags(spec, mark.sheet)
                                         : spec->sheets[mark.sheet].n_corners));
    tr_survey_mark_title(spec, mark, title, sizeof title);
    FUZZ_CHECK(title[0] != 0);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    tr_survey_spec spec;
    tr_error err = {0};
    int n = fuzz_files_open(data, size);
    bool ok = tr_survey_spec_read("/proc/self/fd/100", &spec, &err);
    fuzz_check_error(ok, &err);
    if (ok) {
        char name[96];
        check_spec(&spec);
        for (int i = 0; i < spec.n_stuck; i++) {
            snprintf(name, sizeof name, "%d", spec.stuck[i].id);
            find_mark(&spec, name);
        }
        find_mark(&spec, "c1");
        snprintf(name, sizeof name, "%s:c1", spec.sheets[0].id);
        find_mark(&spec, name);
        find_mark(&spec, spec.id);
    } else {
        FUZZ_CHECK(!spec.path && !spec.sheets && !spec.bars && !spec.rules && !spec.photos);
    }
    tr_survey_spec_release(&spec);
    for (int i = 0; i < n; i++) fuzz_file_close(i);
    return 0;
}
