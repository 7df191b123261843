#include "check/pointed.h"

#include "base/array.h"

/* A tip that misses its point by more standard deviations, of the miss as it shows beside the other
   tips, was not laid there: by chance one coordinate in 16,000 (Baarda's test of single
   observations; a normal distribution). */
static const double MISS_SIGMAS = 4;
/* What the tips cannot show is no miss. mm */
static const double LEAST_SD_MM = 0.01;

int tr_solved_list_pointers(const tr_solved *s, int target, int of[TR_POINTED_MAX]) {
    int n = 0;
    for (int i = 0; i < s->job->n_pointers; i++) {
        const tr_pointer *p = &s->job->pointers[i];
        if (p->target == target && s->adj->sheet_placed[p->sheet]) of[n++] = i;
    }
    return n;
}

double tr_solved_tip_height_sd(const tr_solved *s, int target) {
    bool lies = s->job->sheets[target].support == TR_ON_FLOOR;
    return lies ? hypot(s->job->pointer_sd_mm, TR_ADJUST_FLOOR_Z_SD_MM) : s->job->pointer_sd_mm;
}

void tr_solved_set_up_pointed(const tr_solved *s, int target, tr_pointed *pointed) {
    bool lies = s->job->sheets[target].support == TR_ON_FLOOR;
    pointed->sd_mm = s->job->pointer_sd_mm;
    pointed->height_sd_mm = tr_solved_tip_height_sd(s, target);
    pointed->level_sd_rad = lies ? TR_ADJUST_FLOOR_TILT_SD_RAD : 0;
}

bool tr_solved_find_pointed(tr_solved *s, tr_error *err) {
    s->is_pointed = tr_array(s->job->n_sheets, sizeof *s->is_pointed);
    if (!s->is_pointed) return tr_fail_memory(err);
    for (int i = 0; i < s->job->n_sheets; i++) {
        tr_pose pose;
        s->is_pointed[i] = tr_job_has_pointers(s->job, i) && !s->adj->sheet_placed[i] &&
                           tr_check_pose_by_pointers(s, i, &pose);
    }
    return true;
}

/* By how many standard deviations a tip misses its point, along the axis that shows it most. */
static double sigmas_of(const tr_output miss[3]) {
    double most = 0;
    for (int k = 0; k < 3; k++) {
        double sd = sqrt(fmax(0, miss[k].variance));
        if (sd > LEAST_SD_MM) most = fmax(most, fabs(miss[k].value) / sd);
    }
    return most;
}

/* The one that misses its point most; -1: all fit. With two alone it is not told which. */
static int worst_of(const tr_solved *s, const tr_outputs *outputs, int target) {
    double most = MISS_SIGMAS;
    int worst = -1;
    for (int i = 0; i < s->job->n_pointers; i++) {
        if (s->job->pointers[i].target != target) continue;
        double sigmas = sigmas_of(outputs->pointers[i]);
        if (sigmas <= most) continue;
        most = sigmas;
        worst = i;
    }
    return worst;
}

static bool note_misses(const tr_solved *s, const tr_outputs *outputs, int target,
                        tr_findings *findings, tr_error *err) {
    const tr_job *job = s->job;
    const tr_sheet *sheet = &job->sheets[target];
    int of[TR_POINTED_MAX];
    int worst = worst_of(s, outputs, target);
    if (worst < 0) return true;
    const tr_pointer *p = &job->pointers[worst];
    const tr_output *miss = outputs->pointers[worst];
    double away_mm = tr_v3_norm(tr_v3(miss[0].value, miss[1].value, miss[2].value));
    const char *id = job->sheets[p->sheet].id;
    const char *point = sheet->points[p->point].name;
    if (!s->is_pointed[target])
        return tr_note(POINTER_NOT_AT_SHEET, findings, err, id, point, sheet->id, away_mm);
    int n = tr_solved_list_pointers(s, target, of);
    if (n > 2) return tr_note(POINTER_MISLAID, findings, err, id, point, sheet->id, away_mm);
    const tr_pointer *other = p;
    for (int i = 0; i < n; i++) {
        if (of[i] != worst) other = &job->pointers[of[i]];
    }
    /* Two tips share what their distance is off. */
    return tr_note(POINTERS_CONTRADICT, findings, err, id, point, job->sheets[other->sheet].id,
                   sheet->points[other->point].name, sheet->id, 2 * away_mm);
}

bool tr_check_note_pointers(const tr_solved *s, const tr_outputs *outputs, tr_findings *findings,
                            tr_error *err) {
    for (int i = 0; i < s->job->layout.n_placements; i++) {
        int target = tr_job_find_sheet(s->job, s->job->layout.placements[i].sheet);
        if (!tr_job_has_pointers(s->job, target)) continue;
        if (!note_misses(s, outputs, target, findings, err)) return false;
    }
    return true;
}
