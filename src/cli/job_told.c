#include "cli/job_told.h"

#include <stdio.h>
#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "base/wrap.h"

static void tell(const tr_precondition *p, const tr_confirmation *c) {
    char line[640], shown[640];
    if (!c)
        snprintf(line, sizeof line,
                 p->is_required ? TR_("%s: %s; required, and not confirmed yet")
                                : TR_("%s: %s; not confirmed"),
                 p->id, p->text);
    else if (c->is_done)
        snprintf(line, sizeof line, TR_("%s: %s; confirmed by %s"), p->id, p->text, c->by);
    else
        snprintf(line, sizeof line, TR_("%s: %s; not done: %s"), p->id, p->text, c->reason);
    tr_text_show(line, strlen(line), shown, sizeof shown);
    fputs(p->is_required && !(c && c->is_done) ? "  ! " : "  - ", stdout);
    tr_text_wrap(stdout, 4, 4, shown);
}

void tr_tell_preconditions(const tr_job *job) {
    if (job->layout.n_preconditions == 0) return;
    puts(TR_("Before measuring:"));
    for (int i = 0; i < job->layout.n_preconditions; i++) {
        tell(&job->layout.preconditions[i], tr_job_confirmation_of(job, i));
    }
}
