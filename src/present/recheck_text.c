#include "present/recheck_text.h"

#include <math.h>

#include "base/language.h"
#include "base/wrap.h"
#include "present/catalogue.h"
#include "present/lens_text.h"
#include "present/words.h"

/* Shapes as those of a check's verdict. */
static const struct {
    const char *headline;
    tr_verdict alike;
} VERDICTS[] = {[TR_RECHECK_AGREES] = {TR_N("AGREES"), TR_PASS},
                [TR_RECHECK_DIFFERS] = {TR_N("DIFFERS"), TR_FAIL},
                [TR_RECHECK_NOT_ENOUGH] = {TR_N("NOT ENOUGH"), TR_INCONCLUSIVE}};

static const char *summary(tr_recheck_verdict verdict) {
    switch (verdict) {
    case TR_RECHECK_AGREES:
        return TR_("The photos agree with the profile, within what both leave uncertain.");
    case TR_RECHECK_DIFFERS:
        return TR_("The photos do not agree with the profile: do not measure with it.");
    case TR_RECHECK_NOT_ENOUGH: break;
    }
    return TR_("The photos are not enough to tell whether the profile still holds.");
}

static void print_chance(double chance, FILE *out) {
    double percent = 100 * chance;
    if (percent < 0.1) {
        fputs(TR_("chance makes as much in fewer than 0.1 of 100 checks"), out);
    } else if (percent > 99) {
        fputs(TR_("chance makes as much in nearly every check"), out);
    } else {
        fprintf(out, TR_("chance makes as much in %.*f of 100 checks"), percent < 9.95, percent);
    }
}

static void print_focal(const tr_recheck *r, FILE *out) {
    double stored_px = sqrt(r->stored.param[TR_FX] * r->stored.param[TR_FY]);
    fprintf(out, TR_("Focal length: %.1f px in the profile, %.1f px now\n"), stored_px,
            stored_px * (1 + r->focal_change));
    char change[TR_CELL_SIZE];
    tr_number_rounded(100 * r->focal_change, 2, true, change);
    fprintf(out, TR_("  difference %s %% ± %.2f %% (one standard deviation of both), %.1f sd;"),
            change, 100 * r->focal_sd, fabs(r->focal_change) / r->focal_sd);
    fputs("\n  ", out);
    print_chance(r->focal_chance, out);
    fprintf(out, TR_("\n  (a difference of %.1f %% would have shown in nine of ten checks)\n"),
            100 * r->focal_told);
}

static void print_rest(const tr_recheck *r, FILE *out) {
    if (r->rest_dof == 0) return;
    fprintf(out,
            TR_("Principal point and distortion: chi-squared %.1f of %d degrees of freedom;\n"),
            r->rest_chi2, r->rest_dof);
    fputs("  ", out);
    print_chance(r->rest_chance, out);
    fputc('\n', out);
}

static void print_measured(const tr_lens_run *run, const tr_recheck *r, FILE *out) {
    print_focal(r, out);
    print_rest(r, out);
    fprintf(out, TR_("A corner lies %.3f px (rms) from where the lens of these photos puts it.\n"),
            run->calibration.rms_px);
}

void tr_recheck_text(const tr_lens_run *run, const tr_recheck *r, FILE *out) {
    int n_used = 0;
    for (int i = 0; i < run->n_photos; i++) n_used += run->photos[i].is_used;
    fprintf(out, "%s %s\n", tr_verdict_shape(VERDICTS[r->verdict].alike),
            tr_translated(VERDICTS[r->verdict].headline));
    fprintf(out, TR_("Lens %s"), r->stored.id);
    if (*r->stored.calibrated) fprintf(out, TR_(", calibrated %s"), r->stored.calibrated);
    fputc('\n', out);
    tr_text_wrap(out, 0, 0, summary(r->verdict));
    fputc('\n', out);
    for (int i = 0; i < r->reasons.n; i++) {
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(&r->reasons.items[i], text);
        fputs("  - ", out);
        tr_text_wrap(out, 4, 4, text);
    }
    if (r->reasons.n > 0 && r->is_measured) fputc('\n', out);
    if (r->is_measured) print_measured(run, r, out);
    fprintf(out, TR_("\n%d of %d photos used, of a checkerboard of %dx%d squares of %g mm\n"),
            n_used, run->n_photos, run->board.squares_x, run->board.squares_y, run->board.pitch_mm);
    tr_lens_photos_text(run, r->is_measured, out);
}
