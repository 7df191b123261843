#include <stdlib.h>
#include <string.h>

#include "base/array.h"
#include "plan/plan.h"

/* Where candidates stand: on a grid, so far around vehicle and sheets, the camera at eye level, or
   before the chest where that shows more below the body. mm */
static const double STEP_MM = 900, AROUND_MM = 2700;
static const double HEIGHTS_MM[] = {1600, 1300};
enum { N_HEIGHTS = sizeof HEIGHTS_MM / sizeof *HEIGHTS_MM };
/* More than these are not worth the time: the grid is made coarser. */
enum { MOST_CANDIDATES = 120 };

/* Places to look at: each sheet, and between any two of at most so many. */
enum { MOST_PAIRED = 10 };

/* A proposal aims a little lower, since u95 of a check may be that much more than was expected: few
   photos tell differently of how a camera scatters (tests/test_plan.c). */
static const double RESERVE = 0.88;
/* An axis that is not measured counts like a u95 of so many times the aim. */
static const double UNMEASURED = 100;
/* There is no measurement at all. */
static const double NOTHING = 1e9;
/* All hangs on one sheet, so that nobody would see that it was moved meanwhile: worth a station. */
static const double ONLY_TIE = 0.5;
/* One more station, or one less, matters where the cost changes by this part. */
static const double WORTH = 0.02;
/* At first those candidates are tried that show most, then the best of the time before. */
enum { FIRST_TRIED = 60, MOST_TRIED = 30 };

enum { LEAST_STATIONS = 3, SEEN_TWICE = 2 };

typedef struct {
    tr_station station;
    tr_sheet_set sees;
    int n_marks;
    double cost; /* of the plan with it, when it was last tried; before: less what it shows */
} candidate;

typedef struct {
    const tr_plan_scene *scene;
    const tr_check *measured; /* NULL: none */
    const tr_workers *workers;
    candidate *candidates; /* owned */
    int n_candidates;
    tr_station chosen[TR_PLAN_ALL_STATIONS + 1];
    tr_sheet_set chosen_sees[TR_PLAN_ALL_STATIONS + 1];
    int n_chosen;
    int first_position; /* of those for which there are candidates, up to the last */
    tr_sheet_set stay;  /* sheets that do not roll with the vehicle */
    bool only_aim;      /* what is below the aim is good enough */
} search;

/* ---- cost ---- */

static double cost_of_axis(const tr_plan *plan, const tr_axis_result *r, bool only_aim) {
    bool is_measured = r->is_measured && plan->result.why.code == TR_OK;
    double share = is_measured ? r->u95 / (RESERVE * TR_PLAN_AIM * r->limit) : UNMEASURED;
    if (only_aim) share = fmax(1, share);
    return share * share;
}

/* The sum of squares of u95, each over its aim. */
static double cost_of(const tr_plan *plan, bool only_aim) {
    double cost = plan->result.why.code == TR_OK ? 0 : NOTHING;
    for (int i = 0; i < plan->result.n_targets; i++) {
        for (tr_axis k = 0; k < TR_N_AXES; k++) {
            const tr_axis_result *r = &plan->result.targets[i].axis[k];
            if (r->is_judged) cost += cost_of_axis(plan, r, only_aim);
        }
    }
    for (int i = 0; i < plan->result.n_relations; i++) {
        for (tr_axis k = 0; k < TR_N_AXES; k++) {
            const tr_axis_result *r = &plan->result.relations[i].axis[k];
            if (r->is_judged) cost += cost_of_axis(plan, r, only_aim);
        }
    }
    bool has_tie = tr_findings_have(&plan->result.findings, TR_FOUND_ONLY_TIE);
    return cost + (only_aim && has_tie ? ONLY_TIE : 0);
}

static bool predict(const search *s, const tr_station *stations, int n, tr_plan *out,
                    tr_error *err) {
    return s->measured ? tr_plan_predict_after(s->scene, s->measured, stations, n, out, err)
                       : tr_plan_predict(s->scene, stations, n, out, err);
}

static bool find_cost(const search *s, const tr_station *stations, int n, double *cost,
                      tr_error *err) {
    tr_plan plan;
    bool ok = predict(s, stations, n, &plan, err);
    if (ok) *cost = cost_of(&plan, s->only_aim);
    tr_plan_release(&plan);
    return ok;
}

/* ---- candidates ---- */

/* Places to look at. */
typedef struct {
    tr_vec3 *mm; /* owned */
    int n;
} aim_list;

static bool find_aims(const tr_plan_scene *scene, aim_list *out, tr_error *err) {
    const tr_job *job = scene->job;
    int n_there = 0;
    for (int i = 0; i < job->n_sheets; i++) n_there += scene->is_there[i];
    *out = (aim_list){.mm = tr_array((long)n_there * (n_there + 1) / 2, sizeof *out->mm)};
    if (!out->mm) return tr_fail_memory(err);
    for (int i = 0; i < job->n_sheets; i++) {
        if (!scene->is_there[i]) continue;
        out->mm[out->n++] = scene->vehicle_from_sheet[i].t_mm;
        for (int k = 0; k < i && n_there <= MOST_PAIRED; k++) {
            if (!scene->is_there[k]) continue;
            tr_vec3 sum =
                tr_v3_add(scene->vehicle_from_sheet[i].t_mm, scene->vehicle_from_sheet[k].t_mm);
            out->mm[out->n++] = tr_v3_scale(0.5, sum);
        }
    }
    return true;
}

static int count(tr_sheet_set set) {
    int n = 0;
    for (; set; set &= set - 1) n++;
    return n;
}

/* Sheets together in a photo are worth more than many marks of one. */
static double worth_of(tr_sheet_set sees, int n_marks) {
    return 4 * count(sees) + sqrt(n_marks);
}

/* What to look at from a place: something that is seen from there. now: the scene in that position.
 */
static bool aim_from(const tr_plan_scene *scene, const tr_plan_scene *now, int position,
                     const aim_list *aims, tr_vec2 at, candidate *out, tr_error *err) {
    double best = 0;
    *out = (candidate){.cost = INFINITY};
    for (int i = 0; i < N_HEIGHTS * aims->n; i++) {
        tr_station station = {tr_v3(at.x, at.y, HEIGHTS_MM[i / aims->n]), aims->mm[i % aims->n],
                              position};
        tr_sheet_set sees;
        int n_marks;
        if (tr_plan_is_hidden(now, station.at_mm, aims->mm[i % aims->n])) continue;
        if (!tr_plan_glance(scene, &station, &sees, &n_marks, err)) return false;
        if (worth_of(sees, n_marks) <= best) continue;
        best = worth_of(sees, n_marks);
        *out = (candidate){station, sees, n_marks, -best};
    }
    return true;
}

typedef struct {
    tr_vec2 low, high;
} extent;

static void grow(extent *e, double x, double y, double by) {
    e->low = tr_v2(fmin(e->low.x, x - by), fmin(e->low.y, y - by));
    e->high = tr_v2(fmax(e->high.x, x + by), fmax(e->high.y, y + by));
}

static extent extent_of(const tr_plan_scene *scene) {
    extent e = {{INFINITY, INFINITY}, {-INFINITY, -INFINITY}};
    for (int i = 0; i < scene->n_body; i++) {
        const tr_plan_box *box = &scene->body[i];
        grow(&e, box->low_mm.x, box->low_mm.y, AROUND_MM);
        grow(&e, box->high_mm.x, box->high_mm.y, AROUND_MM);
    }
    for (int i = 0; i < scene->job->n_sheets; i++) {
        tr_vec3 t = scene->vehicle_from_sheet[i].t_mm;
        if (scene->is_there[i]) grow(&e, t.x, t.y, AROUND_MM);
    }
    return e;
}

/* Places of a grid whose middle line is the vehicle's, so that both sides are alike. At most `most`
   are written; returns how many there are. */
static int list_places(const tr_plan_scene *scene, double step, tr_vec2 *out, int most) {
    extent e = extent_of(scene);
    int n = 0;
    int rows = (int)ceil((e.high.x - e.low.x) / step);
    int half = (int)ceil(fmax(fabs(e.low.y), fabs(e.high.y)) / step);
    for (int i = 0; i <= rows; i++) {
        for (int k = -half; k <= half; k++) {
            tr_vec2 at = tr_v2(e.low.x + i * step, k * step);
            if (!tr_plan_is_reachable(scene, at)) continue;
            if (n < most) out[n] = at;
            n++;
        }
    }
    return n;
}

static double grid_step(const tr_plan_scene *scene) {
    static const double COARSER = 1.1;
    double step = STEP_MM;
    while (list_places(scene, step, NULL, 0) > MOST_CANDIDATES) step *= COARSER;
    return step;
}

/* Those that did best before come first; of equals the first of the grid. */
static int by_cost(const void *a, const void *b) {
    const candidate *p = a;
    const candidate *q = b;
    if (p->cost != q->cost) return p->cost < q->cost ? -1 : 1;
    const double d[] = {p->station.at_mm.x - q->station.at_mm.x,
                        p->station.at_mm.y - q->station.at_mm.y};
    if (p->station.position != q->station.position) {
        return p->station.position < q->station.position ? -1 : 1;
    }
    return d[0] != 0 ? (d[0] < 0 ? -1 : 1) : d[1] < 0 ? -1 : d[1] > 0;
}

/* Appends those of a position. */
static bool add_candidates(search *s, int position, tr_error *err) {
    tr_vec2 places[MOST_CANDIDATES];
    tr_pose poses[TR_PLAN_MAX_SHEETS];
    const tr_plan_scene now = tr_plan_scene_in(s->scene, position, poses);
    aim_list aims;
    int n = list_places(&now, grid_step(&now), places, MOST_CANDIDATES);
    bool ok = find_aims(&now, &aims, err);
    for (int i = 0; i < n && ok; i++) {
        candidate *c = &s->candidates[s->n_candidates];
        ok = aim_from(s->scene, &now, position, &aims, places[i], c, err);
        s->n_candidates += ok && c->n_marks > 0;
    }
    free(aims.mm);
    return ok;
}

static bool find_candidates(search *s, tr_error *err) {
    const tr_job *job = s->scene->job;
    int n = tr_plan_positions(s->scene);
    bool ok = true;
    for (int i = 0; i < job->n_sheets; i++) {
        if (tr_job_sheet_stays(job, i)) s->stay |= (tr_sheet_set)1 << i;
    }
    s->candidates = tr_array((long)n * MOST_CANDIDATES, sizeof *s->candidates);
    if (!s->candidates) return tr_fail_memory(err);
    for (int p = s->first_position; p < n && ok; p++) ok = add_candidates(s, p, err);
    if (ok) qsort(s->candidates, (size_t)s->n_candidates, sizeof *s->candidates, by_cost);
    return ok;
}

/* ---- choice ---- */

static void choose(search *s, const candidate *c) {
    s->chosen[s->n_chosen] = c->station;
    s->chosen_sees[s->n_chosen++] = c->sees;
}

static int most_stations(const search *s) {
    return TR_PLAN_MOST_STATIONS * (tr_plan_positions(s->scene) - s->first_position);
}

/* In how many photos a sheet is, without one of them (-1: with all); one that rolls with the
   vehicle, in a position. */
static int times_seen(const search *s, int sheet, int position, int without) {
    bool stays = s->stay >> sheet & 1;
    int n = 0;
    for (int i = 0; i < s->n_chosen; i++) {
        if (i == without || (!stays && s->chosen[i].position != position)) continue;
        n += (int)(s->chosen_sees[i] >> sheet & 1);
    }
    return n;
}

/* From places close to each other photos say much the same. */
static bool is_taken(const search *s, const candidate *c) {
    static const double APART_MM = 800;
    for (int i = 0; i < s->n_chosen; i++) {
        if (s->chosen[i].position != c->station.position) continue;
        if (tr_v3_norm(tr_v3_sub(s->chosen[i].at_mm, c->station.at_mm)) < APART_MM) return true;
    }
    return false;
}

/* It shows a sheet of those before, as it lies in its position. */
static bool is_connected(const search *s, const candidate *c) {
    for (int i = 0; i < s->n_chosen; i++) {
        tr_sheet_set same =
            s->chosen[i].position == c->station.position ? ~(tr_sheet_set)0 : s->stay;
        if (c->sees & s->chosen_sees[i] & same) return true;
    }
    return s->n_chosen == 0;
}

/* How much a candidate adds to what is seen once and twice. */
static double gain_of_sight(const search *s, const candidate *c) {
    double gain = 0;
    if (!is_connected(s, c) || is_taken(s, c)) return 0;
    for (int i = 0; i < s->scene->job->n_sheets; i++) {
        int times = times_seen(s, i, c->station.position, -1);
        if (c->sees >> i & 1 && times < SEEN_TWICE) gain += SEEN_TWICE - times;
    }
    return gain > 0 ? gain + 0.01 * sqrt(c->n_marks) : 0;
}

/* Every sheet in two photos, each photo with a sheet of those before: then all are connected. */
static void choose_by_sight(search *s) {
    while (s->n_chosen < most_stations(s)) {
        const candidate *best = NULL;
        double most = 0;
        for (int i = 0; i < s->n_candidates; i++) {
            double gain = gain_of_sight(s, &s->candidates[i]);
            if (!(gain > most)) continue;
            most = gain;
            best = &s->candidates[i];
        }
        if (!best) return;
        choose(s, best);
    }
}

static bool try_candidate(void *task, void *own, int item, tr_error *err) {
    search *s = task;
    candidate *c = &s->candidates[item];
    tr_station stations[TR_PLAN_ALL_STATIONS + 1];
    (void)own;
    c->cost = INFINITY;
    if (is_taken(s, c)) return true;
    memcpy(stations, s->chosen, sizeof stations);
    stations[s->n_chosen] = c->station;
    return find_cost(s, stations, s->n_chosen + 1, &c->cost, err);
}

/* Tries the first n candidates, then sorts them. */
static bool try_candidates(search *s, int most, tr_error *err) {
    int n = s->n_candidates < most ? s->n_candidates : most;
    const tr_parallel_work work = {
        .n_items = n, .workers = *s->workers, .work = try_candidate, .task = s};
    if (!tr_parallel(&work, err)) return false;
    qsort(s->candidates, (size_t)n, sizeof *s->candidates, by_cost);
    return true;
}

/* The cost where every judged axis reaches the aim. */
static double least_cost(const tr_job *job) {
    int n = 0;
    for (int i = 0; i < job->layout.n_placements; i++) {
        for (tr_axis k = 0; k < TR_N_AXES; k++) n += job->layout.placements[i].axis[k].is_judged;
    }
    for (int i = 0; i < job->layout.n_relations; i++) {
        for (tr_axis k = 0; k < TR_N_AXES; k++) n += job->layout.relations[i].axis[k].is_judged;
    }
    return n;
}

/* One more station at a time, while that is worth it. */
static bool choose_by_cost(search *s, tr_error *err) {
    double least = least_cost(s->scene->job);
    double cost;
    int most = FIRST_TRIED;
    if (!find_cost(s, s->chosen, s->n_chosen, &cost, err)) return false;
    while (cost > least && s->n_chosen < most_stations(s) && s->n_candidates > 0) {
        if (!try_candidates(s, most, err)) return false;
        if (!(s->candidates[0].cost < (1 - WORTH) * cost)) return true;
        cost = s->candidates[0].cost;
        choose(s, &s->candidates[0]);
        most = MOST_TRIED;
    }
    return true;
}

/* Without it, are all sheets in as many photos as before, up to two? */
static bool is_seen_without(const search *s, int station) {
    for (int i = 0; i < s->scene->job->n_sheets; i++) {
        int with = times_seen(s, i, s->chosen[station].position, -1);
        int without = times_seen(s, i, s->chosen[station].position, station);
        if (without < with && without < SEEN_TWICE) return false;
    }
    return true;
}

static void remove_station(search *s, int i) {
    int n = --s->n_chosen - i;
    memmove(&s->chosen[i], &s->chosen[i + 1], (size_t)n * sizeof *s->chosen);
    memmove(&s->chosen_sees[i], &s->chosen_sees[i + 1], (size_t)n * sizeof *s->chosen_sees);
}

/* Leaves out what is as well left out. */
static bool leave_out(search *s, tr_error *err) {
    double cost;
    if (!find_cost(s, s->chosen, s->n_chosen, &cost, err)) return false;
    for (int i = 0; i < s->n_chosen && s->n_chosen > LEAST_STATIONS;) {
        search without = *s;
        double cost_without;
        remove_station(&without, i);
        if (!find_cost(s, without.chosen, without.n_chosen, &cost_without, err)) return false;
        if (is_seen_without(s, i) && cost_without <= (1 + WORTH / 4) * cost) {
            *s = without;
        } else {
            i++;
        }
    }
    return true;
}

/* Anticlockwise around the middle of all, from the front, as someone would walk. */
static double bearing(const tr_plan_scene *scene, const tr_station *station) {
    extent e = extent_of(scene);
    tr_vec2 middle = tr_v2_scale(0.5, tr_v2_add(e.low, e.high));
    return atan2(-(station->at_mm.y - middle.y), -(station->at_mm.x - middle.x));
}

static bool comes_after(const search *s, const tr_station *a, const tr_station *b) {
    return a->position != b->position ? a->position > b->position
                                      : bearing(s->scene, a) > bearing(s->scene, b);
}

/* Position by position. */
static void sort_stations(search *s) {
    for (int i = 1; i < s->n_chosen; i++) {
        tr_station moved = s->chosen[i];
        int k = i;
        for (; k > 0 && comes_after(s, &s->chosen[k - 1], &moved); k--) {
            s->chosen[k] = s->chosen[k - 1];
        }
        s->chosen[k] = moved;
    }
}

/* The scene, where nothing counts but what is measured well. It borrows all from it. */
static tr_plan_scene well_seen(const tr_plan_scene *scene) {
    tr_plan_scene good = *scene;
    good.least_cell_px = TR_PLAN_GOOD_CELL_PX;
    good.least_elevation_rad = TR_PLAN_GOOD_ELEVATION_RAD;
    return good;
}

bool tr_plan_propose(const tr_plan_scene *scene, const tr_workers *workers, tr_plan *out,
                     tr_error *err) {
    const tr_plan_scene good = well_seen(scene);
    search s = {.scene = &good, .workers = workers, .only_aim = true};
    *out = (tr_plan){0};
    bool ok = find_candidates(&s, err);
    if (ok) choose_by_sight(&s);
    ok = ok && choose_by_cost(&s, err) && leave_out(&s, err);
    if (ok) {
        sort_stations(&s);
        ok = predict(&s, s.chosen, s.n_chosen, out, err);
    }
    free(s.candidates);
    return ok;
}

bool tr_plan_further(const tr_plan_scene *scene, const tr_check *check, const tr_workers *workers,
                     tr_plan *out, tr_error *err) {
    const tr_plan_scene good = well_seen(scene);
    tr_check ideal;
    search s = {.scene = &good,
                .measured = &ideal,
                .workers = workers,
                .first_position = tr_plan_positions(scene) - 1};
    double now;
    *out = (tr_plan){0};
    bool ok = tr_plan_idealised(scene, check, &ideal, err) && find_candidates(&s, err) &&
              find_cost(&s, s.chosen, 0, &now, err) && try_candidates(&s, FIRST_TRIED, err);
    if (ok && s.n_candidates > 0 && s.candidates[0].cost < now) choose(&s, &s.candidates[0]);
    ok = ok && tr_plan_predict_after(scene, check, s.chosen, s.n_chosen, out, err);
    tr_check_release(&ideal);
    free(s.candidates);
    return ok;
}
