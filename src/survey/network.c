#include "survey/network.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/camera.h"
#include "adjust/initial_values.h"
#include "adjust/outliers.h"
#include "adjust/relief.h"
#include "base/array.h"
#include "base/groups.h"
#include "base/language.h"
#include "survey/rigid_groups.h"

/* A printed tag's size is no known length; these only keep a tag that few photos show from growing
   without bound. */
static const double SCALE_SD = 0.1;
static const double DIFFERENTIAL_SCALE_SD = 0.02;
static const double SMALL_STEP = 1e-6;
enum { MAX_ROUNDS = 12, MIN_PHOTOS_A_MARK = 2, MIN_POINTS_A_PHOTO = 4 };
/* A residual of more than this says only that a start is wrong. px */
static const double FAR_PX = 200;

static int n_bar_tags(const tr_survey *v) {
    return 2 * v->spec->n_bars;
}

/* ---- initial values ---- */

static bool find_start(tr_survey *v, tr_photo_input *input, tr_adjustment *start, tr_error *err) {
    int n = v->set.n_photos;
    tr_network *net = &start->net;
    net->rigs = tr_array(n, sizeof *net->rigs);
    net->sheets = tr_array(v->n_groups, sizeof *net->sheets);
    start->photo_placed = tr_array(n, sizeof *start->photo_placed);
    start->sheet_placed = tr_array(v->n_groups, sizeof *start->sheet_placed);
    if (!net->rigs || !net->sheets || !start->photo_placed || !start->sheet_placed) {
        return tr_fail_memory(err);
    }
    tr_error why = {0};
    if (tr_initial_values(&input->in, start, &why)) return true;
    if (why.code == TR_NO_MEMORY) return tr_fail_memory(err);
    return tr_fail(err, TR_NO_MEASURE,
                   "no tag of this survey was found in any photo; check that the photos, the sheet "
                   "files and the lens profile belong together");
}

/* Sum of the squared distances, px^2, of a bar's tag in one pose from where all photos show it. */
static double squared_distance(const tr_survey *v, const tr_adjustment *start,
                               const tr_photo_marks *const *marks, int group,
                               tr_pose world_from_tag) {
    double sum = 0;
    for (int i = 0; i < v->set.n_photos; i++) {
        if (!marks[i] || !start->photo_placed[i]) continue;
        const tr_lens *lens = &v->spec->lenses[v->set.photos[v->set.order[i]].lens];
        for (int k = 0; k < marks[i]->n_marks; k++) {
            const tr_mark *m = &marks[i]->marks[k];
            if (m->sheet != group) continue;
            for (int c = 0; c < m->n_points; c++) {
                tr_vec3 p = tr_v3(m->p_sheet_mm[c].x, m->p_sheet_mm[c].y, 0);
                tr_vec2 uv;
                p = tr_pose_apply(start->net.rigs[i].rig_from_world,
                                  tr_pose_apply(world_from_tag, p));
                double off = FAR_PX;
                if (tr_lens_project(lens, p, &uv, NULL, NULL)) {
                    off = fmin(off, tr_v2_norm(tr_v2_sub(uv, m->uv_px[c])));
                }
                sum += off * off;
            }
        }
    }
    return sum;
}

/* A bar may lie higher than the floor: the best of the poses that single photos give. */
static void improve_pose(const tr_survey *v, const tr_adjustment *start,
                         const tr_photo_marks *const *marks, int group, tr_pose *world_from_tag) {
    double best = squared_distance(v, start, marks, group, *world_from_tag);
    for (int i = 0; i < v->set.n_photos; i++) {
        if (!marks[i] || !start->photo_placed[i]) continue;
        tr_pose world_from_camera = tr_pose_inverse(start->net.rigs[i].rig_from_world);
        for (int k = 0; k < marks[i]->n_views; k++) {
            const tr_sheet_view *view = &marks[i]->views[k];
            for (int c = 0; view->sheet == group && c < view->n_poses; c++) {
                tr_pose pose = tr_pose_mul(world_from_camera, view->pose[c].camera_from_plane);
                double off = squared_distance(v, start, marks, group, pose);
                if (off >= best) continue;
                best = off;
                *world_from_tag = pose;
            }
        }
    }
}

/* The first group of a kind; -1: none. */
static int find_group(const tr_survey *v, int kind, int sheet, int end) {
    for (int i = 0; i < v->n_groups; i++) {
        const tr_survey_group *b = &v->groups[i];
        if ((int)b->kind == kind && b->sheet == sheet && b->end == end) return i;
    }
    return -1;
}

/* Where each mark's offset counts from: its place on its group; a stuck tag's as the start has it.
 */
static void place_marks(tr_survey_network *w, const tr_adjustment *start) {
    const tr_survey *v = w->survey;
    for (int b = 0; b < v->n_groups; b++) {
        const tr_survey_group *group = &v->groups[b];
        const tr_sheet *sheet = &v->group_sheets[b];
        if (group->kind == TR_GROUP_BAR) continue;
        const tr_survey_sheet *s = &v->sheets[group->sheet];
        tr_pose sheet_from_tag = tr_pose_identity();
        if (group->kind == TR_GROUP_STUCK) {
            tr_pose home = w->net.sheets[group->sheet].world_from_sheet;
            sheet_from_tag =
                tr_pose_mul(tr_pose_inverse(home), start->net.sheets[b].world_from_sheet);
        }
        for (int k = 0; k < sheet->n_tags; k++) {
            tr_tag *base = &w->base[s->first_mark + group->tags[k]];
            *base = sheet->tags[k];
            if (group->kind != TR_GROUP_STUCK) continue;
            base->centre_mm = tr_v2(sheet_from_tag.t_mm.x, sheet_from_tag.t_mm.y);
            base->turn_rad = atan2(sheet_from_tag.R.m[1][0], sheet_from_tag.R.m[0][0]);
        }
        for (int k = 0; group->kind == TR_GROUP_SHEET && k < sheet->n_corners; k++) {
            int first = s->first_mark + s->n_marks - sheet->n_corners;
            w->base[first + k].centre_mm = sheet->corners_mm[k];
        }
    }
}

/* ---- setting up ---- */

static void set_up_sheets(tr_survey_network *w, const tr_adjustment *start,
                          const tr_photo_marks *const *marks) {
    const tr_survey *v = w->survey;
    for (int s = 0; s < v->spec->n_sheets; s++) {
        int group = start->sheet_placed[s] ? s : -1;
        for (int b = v->spec->n_sheets; b < v->n_groups && group < 0; b++) {
            bool is_of = v->groups[b].kind == TR_GROUP_STUCK && v->groups[b].sheet == s;
            if (is_of && start->sheet_placed[b]) group = b;
        }
        tr_net_sheet *sheet = &w->net.sheets[s];
        sheet->half_mm[0] = v->spec->sheets[s].width_mm / 2;
        sheet->half_mm[1] = v->spec->sheets[s].height_mm / 2;
        sheet->world_from_sheet =
            group >= 0 ? start->net.sheets[group].world_from_sheet : tr_pose_identity();
    }
    for (int t = 0; t < n_bar_tags(v); t++) {
        int group = find_group(v, TR_GROUP_BAR, t / 2, t % 2);
        tr_net_sheet *sheet = &w->net.sheets[v->spec->n_sheets + t];
        sheet->half_mm[0] = sheet->half_mm[1] = v->spec->bars[t / 2].size_mm / 2;
        sheet->world_from_sheet = start->net.sheets[group].world_from_sheet;
        if (!start->sheet_placed[group]) {
            sheet->world_from_sheet = tr_pose_identity();
        } else {
            improve_pose(v, start, marks, group, &sheet->world_from_sheet);
        }
    }
}

static void set_up_offsets(tr_survey_network *w) {
    const tr_survey *v = w->survey;
    for (int i = 0; i < w->net.n_offsets; i++) {
        tr_net_offset *o = &w->net.offsets[i];
        bool is_tag = i >= v->n_marks || v->marks[i].name.is_tag;
        *o = (tr_net_offset){0};
        if (i < v->n_marks) {
            o->centre_mm = w->base[i].centre_mm;
            o->axis_rad = w->base[i].turn_rad;
            o->sd[TR_OFFSET_Z] = TR_RELIEF_WIDE_HEIGHT_SD_MM;
            o->sd[TR_OFFSET_SLOPE_X] = o->sd[TR_OFFSET_SLOPE_Y] = TR_RELIEF_WIDE_SLOPE_SD;
            o->sd[TR_OFFSET_TWIST] = TR_RELIEF_WIDE_TWIST_SD;
        }
        if (is_tag) {
            o->sd[TR_OFFSET_SCALE] = SCALE_SD;
            o->sd[TR_OFFSET_DIFFERENTIAL_SCALE] = DIFFERENTIAL_SCALE_SD;
        }
    }
}

static void set_up_observations(tr_survey_network *w, const tr_adjustment *start,
                                const tr_photo_marks *const *marks) {
    const tr_survey *v = w->survey;
    tr_network *net = &w->net;
    for (int i = 0; i < net->n_photos; i++) {
        net->photos[i] = (tr_net_photo){.lens = v->set.photos[v->set.order[i]].lens, .rig = i};
        net->rigs[i].rig_from_world = start->net.rigs[i].rig_from_world;
        net->rigs[i].is_held = true;
        tr_camera_free(&v->spec->lenses[net->photos[i].lens], false, &net->photos[i]);
        for (int k = 0; marks[i] && k < marks[i]->n_marks; k++) {
            const tr_mark *m = &marks[i]->marks[k];
            const tr_survey_group *group = &v->groups[m->sheet];
            int mark = tr_survey_mark_of(v, m);
            int number = net->n_observations++;
            tr_net_obs *o = &net->observations[number];
            *o = tr_net_obs_of(i, 0, m->kind == TR_MARK_TAG ? TR_NET_TAG : TR_NET_POINT,
                               m->n_points);
            if (mark < 0) {
                int tag = 2 * group->sheet + group->end;
                mark = v->n_marks + tag;
                o->sheet = v->spec->n_sheets + tag;
                memcpy(o->p_sheet_mm, m->p_sheet_mm, sizeof o->p_sheet_mm);
            } else {
                o->sheet = group->sheet;
                o->p_sheet_mm[0] = w->base[mark].centre_mm;
                for (int c = 0; c < m->n_points && m->kind == TR_MARK_TAG; c++) {
                    o->p_sheet_mm[c] = tr_tag_corner(&w->base[mark], c);
                }
            }
            o->mark = mark;
            memcpy(o->uv_px, m->uv_px, sizeof o->uv_px);
            o->offset = mark;
            w->is_placed[number] = start->photo_placed[i] && start->sheet_placed[m->sheet] &&
                                   tr_net_whiten(m->covariance, m->n_points, o->W);
            o->is_used = w->is_placed[number];
            if (o->is_used && !tr_network_residual(net, number, NULL, NULL)) {
                o->is_used = w->is_placed[number] = false;
            }
        }
    }
}

static void add_length(tr_survey_network *w, int rule, int axis, const char *title,
                       const char *id) {
    tr_survey *v = w->survey;
    int i = v->n_lengths++;
    v->lengths[i] = (tr_survey_length){.bar = rule < 0 ? i : -1, .axis = axis};
    if (rule >= 0) v->lengths[i].sheet = v->spec->rules[rule].sheet;
    snprintf(v->lengths[i].title, sizeof v->lengths[i].title, "%s", title);
    snprintf(v->lengths[i].id, sizeof v->lengths[i].id, "%s", id);
    w->rule_of[i] = rule;
    w->axis_of[i] = axis;
    w->ends[2 * i] = w->ends[2 * i + 1] = -1;
}

static void set_up_lengths(tr_survey_network *w) {
    tr_survey *v = w->survey;
    const tr_survey_spec *spec = v->spec;
    char title[96];
    char id[64];
    v->n_lengths = 0;
    for (int b = 0; b < spec->n_bars; b++) {
        snprintf(title, sizeof title, TR_N("bar %s"), spec->bars[b].id);
        add_length(w, -1, 0, title, spec->bars[b].id);
        tr_net_length *l = &w->net.lengths[b];
        *l = (tr_net_length){.length_mm = spec->bars[b].distance_mm, .sd_mm = spec->bars[b].sd_mm};
        for (int end = 0; end < 2; end++) {
            w->ends[2 * b + end] = v->n_marks + 2 * b + end;
            l->sheet[end] = spec->n_sheets + 2 * b + end;
            l->offset[end] = v->n_marks + 2 * b + end;
        }
    }
    for (int r = 0; r < spec->n_rules; r++) {
        for (int axis = 0; axis < 2; axis++) {
            if (!spec->rules[r].is_measured[axis]) continue;
            const char *sheet = spec->sheets[spec->rules[r].sheet].id;
            snprintf(title, sizeof title, TR_N("the rule of %s along %c"), sheet, axis ? 'y' : 'x');
            snprintf(id, sizeof id, "rule %c of %.40s", axis ? 'y' : 'x', sheet);
            add_length(w, r, axis, title, id);
        }
    }
    w->net.n_lengths = v->n_lengths;
}

/* The two printed marks between which a rule tells most: far apart along its axis, and little
   across. */
static void choose_rule(tr_survey_network *w, int length) {
    const tr_survey *v = w->survey;
    const tr_rule *rule = &v->spec->rules[w->rule_of[length]];
    const tr_survey_sheet *s = &v->sheets[rule->sheet];
    int axis = w->axis_of[length];
    double best = 0;
    w->ends[2 * length] = w->ends[2 * length + 1] = -1;
    for (int a = s->first_mark; a < s->first_mark + s->n_marks; a++) {
        for (int b = s->first_mark; b < a; b++) {
            if (!w->is_printed[a] || !w->is_printed[b] || !w->is_seen[a] || !w->is_seen[b]) {
                continue;
            }
            tr_vec2 d = tr_v2_sub(v->marks[a].nominal_mm, v->marks[b].nominal_mm);
            double along = fabs(axis ? d.y : d.x);
            double across = fabs(axis ? d.x : d.y);
            if (along - 2 * across <= best) continue;
            best = along - 2 * across;
            w->ends[2 * length] = b;
            w->ends[2 * length + 1] = a;
        }
    }
}

/* D = hypot(dx k_x, dy k_y) with the rule's scales k; its sd by the law of propagation, and how far
   single marks lie off. A rule that was measured one way only stands for the other, too. */
static void set_rule(tr_survey_network *w, int length) {
    const tr_survey *v = w->survey;
    const tr_rule *rule = &v->spec->rules[w->rule_of[length]];
    tr_net_length *l = &w->net.lengths[length];
    const int *ends = &w->ends[2 * length];
    *l = (tr_net_length){.offset = {-1, -1}};
    if (ends[0] < 0) return;
    double k[2];
    for (int i = 0; i < 2; i++) {
        k[i] = rule->measured_mm[rule->is_measured[i] ? i : 1 - i] / TR_RULE_MM;
    }
    tr_vec2 d = tr_v2_sub(v->marks[ends[1]].nominal_mm, v->marks[ends[0]].nominal_mm);
    double length_mm = hypot(d.x * k[0], d.y * k[1]);
    double sd_k = rule->sd_mm / TR_RULE_MM;
    double sx = d.x * d.x * k[0] / length_mm * sd_k;
    double sy = d.y * d.y * k[1] / length_mm * sd_k;
    l->length_mm = length_mm;
    l->sd_mm = sqrt(sx * sx + sy * sy + 2 * w->printed_rms_mm * w->printed_rms_mm);
    for (int end = 0; end < 2; end++) {
        l->sheet[end] = rule->sheet;
        l->p_sheet_mm[end] = w->base[ends[end]].centre_mm;
        l->offset[end] = ends[end];
    }
}

bool tr_survey_choose_rules(tr_survey_network *w) {
    bool has_changed = false;
    for (int i = 0; i < w->survey->n_lengths; i++) {
        if (w->rule_of[i] < 0) continue;
        int before[2] = {w->ends[2 * i], w->ends[2 * i + 1]};
        double sd = w->net.lengths[i].sd_mm;
        choose_rule(w, i);
        set_rule(w, i);
        has_changed |= before[0] != w->ends[2 * i] || before[1] != w->ends[2 * i + 1] ||
                       sd != w->net.lengths[i].sd_mm;
    }
    return has_changed;
}

static bool allocate(tr_survey *v, tr_survey_network *w, tr_error *err) {
    tr_network *net = &w->net;
    int n = v->set.n_photos;
    int n_obs = 0;
    int n_sheets = v->spec->n_sheets + n_bar_tags(v);
    int n_offsets = v->n_marks + n_bar_tags(v);
    for (int i = 0; i < n; i++) n_obs += v->set.photos[i].marks.n_marks;
    w->survey = v;
    net->lenses = tr_array(v->spec->n_lenses, sizeof *net->lenses);
    net->cameras = tr_array(1, sizeof *net->cameras);
    net->rigs = tr_array(n, sizeof *net->rigs);
    net->photos = tr_array(n, sizeof *net->photos);
    net->sheets = tr_array(n_sheets, sizeof *net->sheets);
    net->offsets = tr_array(n_offsets, sizeof *net->offsets);
    net->observations = tr_array(n_obs, sizeof *net->observations);
    net->lengths = tr_array(TR_SURVEY_MAX_LENGTHS, sizeof *net->lengths);
    w->base = tr_array(n_offsets, sizeof *w->base);
    w->is_placed = tr_array(n_obs, sizeof *w->is_placed);
    w->is_seen = tr_array(n_offsets, sizeof *w->is_seen);
    w->is_printed = tr_array(n_offsets, sizeof *w->is_printed);
    w->rule_of = tr_array(TR_SURVEY_MAX_LENGTHS, sizeof *w->rule_of);
    w->axis_of = tr_array(TR_SURVEY_MAX_LENGTHS, sizeof *w->axis_of);
    w->ends = tr_array(2 * TR_SURVEY_MAX_LENGTHS, sizeof *w->ends);
    w->n_unknowns = TR_OFFSET_N * v->n_marks + 3 * n_bar_tags(v);
    w->covariance = tr_table(w->n_unknowns, w->n_unknowns, sizeof *w->covariance);
    w->photo_names = tr_array(n, sizeof *w->photo_names);
    w->sheet_names = tr_array(n_sheets, sizeof *w->sheet_names);
    w->offset_names = tr_array(n_offsets, sizeof *w->offset_names);
    w->mark_titles = tr_array(n_offsets, sizeof *w->mark_titles);
    if (!net->lenses || !net->cameras || !net->rigs || !net->photos || !net->sheets ||
        !net->offsets || !net->observations || !net->lengths || !w->base || !w->is_placed ||
        !w->is_seen || !w->is_printed || !w->rule_of || !w->axis_of || !w->ends || !w->covariance ||
        !w->photo_names || !w->sheet_names || !w->offset_names || !w->mark_titles) {
        return tr_fail_memory(err);
    }
    net->n_lenses = v->spec->n_lenses;
    net->n_cameras = 1;
    net->n_rigs = net->n_photos = n;
    net->n_sheets = n_sheets;
    net->n_offsets = n_offsets;
    return true;
}

void tr_survey_network_release(tr_survey_network *w) {
    tr_network_release(&w->net);
    free(w->base);
    free(w->is_placed);
    free(w->is_seen);
    free(w->is_printed);
    free(w->rule_of);
    free(w->axis_of);
    free(w->ends);
    free(w->covariance);
    free(w->photo_names);
    free(w->sheet_names);
    free(w->offset_names);
    free(w->mark_titles);
    memset(w, 0, sizeof *w);
}

/* What messages call the unknowns of photos, sheets and marks. */
static void name_unknowns(tr_survey_network *w) {
    const tr_survey *v = w->survey;
    const tr_survey_spec *spec = v->spec;
    for (int i = 0; i < w->net.n_photos; i++) {
        w->photo_names[i] = v->set.photos[v->set.order[i]].name;
    }
    for (int s = 0; s < spec->n_sheets; s++) w->sheet_names[s] = spec->sheets[s].id;
    for (int i = 0; i < v->n_marks; i++) {
        tr_mark_name name = v->marks[i].name;
        char title[32];
        tr_survey_mark_title(spec, name, title, sizeof title);
        snprintf(w->mark_titles[i], TR_SURVEY_TITLE_SIZE, TR_N("%s of %s"), title,
                 spec->sheets[name.sheet].id);
    }
    for (int t = 0; t < n_bar_tags(v); t++) {
        const tr_bar *bar = &spec->bars[t / 2];
        w->sheet_names[spec->n_sheets + t] = bar->id;
        snprintf(w->mark_titles[v->n_marks + t], TR_SURVEY_TITLE_SIZE, TR_N("tag %d of %s"),
                 bar->tag[t % 2], bar->id);
    }
    for (int i = 0; i < w->net.n_offsets; i++) w->offset_names[i] = w->mark_titles[i];
    w->net.photo_names = w->photo_names;
    w->net.sheet_names = w->sheet_names;
    w->net.offset_names = w->offset_names;
}

/* Checker corners are the artwork's own; tags may have been stuck down, also where a file says
   where. So where there are corners, they alone stand for the print at first. */
static void guess_printed(tr_survey_network *w) {
    const tr_survey *v = w->survey;
    for (int i = 0; i < v->n_marks; i++) {
        const tr_survey_mark *m = &v->marks[i];
        bool is_enough = v->spec->sheets[m->name.sheet].n_corners >= 2;
        w->is_printed[i] = m->has_nominal && (!m->name.is_tag || !is_enough);
    }
}

bool tr_survey_network_make(tr_survey *v, tr_survey_network *w, tr_error *err) {
    tr_adjustment start = {0};
    tr_photo_input input;
    bool ok = false;
    memset(w, 0, sizeof *w);
    if (!tr_photo_set_input(&v->set, &input, err) || !allocate(v, w, err) ||
        !find_start(v, &input, &start, err)) {
        goto out;
    }
    for (int i = 0; i < v->spec->n_lenses; i++) {
        w->net.lenses[i] = tr_net_lens_of(&v->spec->lenses[i]);
    }
    w->net.cameras[0].camera_from_rig = tr_pose_identity();
    set_up_sheets(w, &start, input.marks);
    place_marks(w, &start);
    set_up_offsets(w);
    set_up_observations(w, &start, input.marks);
    set_up_lengths(w);
    guess_printed(w);
    name_unknowns(w);
    ok = true;
out:
    tr_adjustment_release(&start);
    tr_photo_input_release(&input);
    return ok;
}

/* ---- which unknowns there are ---- */

/* The group of photos and tags (behind the photos) with the most observations. Only what hangs
   together, and is seen often enough, is measured. Tags tie photos; corners alone do not. */
static int largest_group(const tr_network *net, int *group, int n, int *count) {
    int best = 0;
    for (int i = 0; i < n; i++) count[i] = 0;
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (o->is_used) count[tr_group_of(group, o->photo)]++;
    }
    for (int i = 0; i < n; i++) {
        if (count[i] > count[best]) best = i;
    }
    return best;
}

/* One round of dropping observations; returns how many fell away, -1 where memory ran out. */
static int drop_weak(tr_survey_network *w) {
    tr_network *net = &w->net;
    int n = net->n_photos + net->n_offsets;
    int dropped = 0;
    int *group = tr_array(n, sizeof *group);
    int *count = tr_array(n, sizeof *count);
    int *photos = tr_array(net->n_offsets, sizeof *photos);
    int *points = tr_array(net->n_photos, sizeof *points);
    if (!group || !count || !photos || !points) {
        dropped = -1;
        goto out;
    }
    tr_groups_init(group, n);
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!o->is_used) continue;
        photos[o->mark]++;
        points[o->photo] += o->n_points;
        if (o->kind == TR_NET_TAG) tr_groups_join(group, o->photo, net->n_photos + o->mark);
    }
    int home = largest_group(net, group, n, count);
    for (int i = 0; i < net->n_observations; i++) {
        tr_net_obs *o = &net->observations[i];
        if (!o->is_used) continue;
        bool is_tied = tr_group_of(group, o->photo) == home;
        bool is_weak = photos[o->mark] < MIN_PHOTOS_A_MARK || points[o->photo] < MIN_POINTS_A_PHOTO;
        if (is_tied && !is_weak) continue;
        o->is_used = false;
        dropped++;
    }
out:
    free(group);
    free(count);
    free(photos);
    free(points);
    return dropped;
}

/* Three coordinates of each sheet are held: both of one mark, and of the mark furthest from it the
   one across the line between them; of a single tag its turn. */
static void hold_datum(tr_survey_network *w, int sheet) {
    const tr_survey_sheet *s = &w->survey->sheets[sheet];
    int a = -1;
    int b = -1;
    double furthest = 0;
    for (int i = s->first_mark; i < s->first_mark + s->n_marks; i++) {
        if (!w->is_seen[i]) continue;
        /* A lone mark must be a tag, which has a turn. */
        if (a < 0 || (b < 0 && w->survey->marks[i].name.is_tag)) a = i;
        for (int k = s->first_mark; k < i; k++) {
            double d = tr_v2_norm(tr_v2_sub(w->base[i].centre_mm, w->base[k].centre_mm));
            if (!w->is_seen[k] || d <= furthest) continue;
            furthest = d;
            a = k;
            b = i;
        }
    }
    if (a < 0) return;
    bool *is_free = w->net.offsets[a].is_free;
    is_free[TR_OFFSET_X] = is_free[TR_OFFSET_Y] = false;
    if (b < 0) {
        is_free[TR_OFFSET_TURN] = false;
        return;
    }
    tr_vec2 d = tr_v2_sub(w->base[b].centre_mm, w->base[a].centre_mm);
    w->net.offsets[b].is_free[fabs(d.x) >= fabs(d.y) ? TR_OFFSET_Y : TR_OFFSET_X] = false;
}

static void free_unknowns(tr_survey_network *w) {
    const tr_survey *v = w->survey;
    tr_network *net = &w->net;
    int most = 0;
    memset(w->is_seen, 0, (size_t)net->n_offsets * sizeof *w->is_seen);
    for (int i = 0; i < net->n_rigs; i++) net->rigs[i].is_held = true;
    for (int i = 0; i < net->n_observations; i++) {
        const tr_net_obs *o = &net->observations[i];
        if (!o->is_used) continue;
        w->is_seen[o->mark] = true;
        net->rigs[o->photo].is_held = false;
    }
    w->datum_sheet = 0;
    for (int s = 0; s < net->n_sheets; s++) {
        int n = 0;
        for (int i = 0; i < net->n_observations; i++) {
            n += net->observations[i].is_used && net->observations[i].sheet == s;
        }
        for (int k = 0; k < TR_SHEET_N; k++) net->sheets[s].is_free[k] = n > 0 && k < TR_POSE_N;
        if (s < v->spec->n_sheets && n > most) {
            most = n;
            w->datum_sheet = s;
        }
    }
    memset(net->sheets[w->datum_sheet].is_free, 0, sizeof net->sheets[w->datum_sheet].is_free);
    for (int i = 0; i < net->n_offsets; i++) {
        bool is_bar = i >= v->n_marks;
        bool is_tag = is_bar || v->marks[i].name.is_tag;
        bool *is_free = net->offsets[i].is_free;
        for (int k = 0; k < TR_OFFSET_N; k++) {
            is_free[k] = w->is_seen[i] && (k < TR_OFFSET_TURN ? !is_bar : is_tag);
        }
        for (int k = TR_OFFSET_TURN; is_bar && k < TR_OFFSET_N; k++) {
            is_free[k] = is_free[k] && (k == TR_OFFSET_SCALE || k == TR_OFFSET_DIFFERENTIAL_SCALE);
        }
    }
    tr_camera_hold(net, false);
    for (int s = 0; s < v->spec->n_sheets; s++) hold_datum(w, s);
    for (int i = 0; i < net->n_lengths; i++) {
        const int *e = &w->ends[2 * i];
        net->lengths[i].is_used = e[0] >= 0 && w->is_seen[e[0]] && w->is_seen[e[1]];
        w->survey->lengths[i].is_used = net->lengths[i].is_used;
    }
}

static bool prepare(tr_survey_network *w, tr_error *err) {
    int dropped;
    while ((dropped = drop_weak(w)) > 0) {
    }
    if (dropped < 0) return tr_fail_memory(err);
    free_unknowns(w);
    (void)tr_survey_choose_rules(w);
    free_unknowns(w);
    bool has_length = false;
    for (int i = 0; i < w->net.n_lengths; i++) has_length |= w->net.lengths[i].is_used;
    if (has_length) return true;
    return tr_fail(
        err, TR_NO_MEASURE,
        "no known length is in view: both tags of %s must be in at least two photos that also show "
        "tags of the sheet; lay the bar beside the marks and take the photos again",
        w->survey->n_lengths > 0 ? w->survey->lengths[0].title : TR_N("a bar"));
}

/* NULL: err is set. */
static tr_net_solution *solve_once(tr_survey_network *w, tr_error *err) {
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = SMALL_STEP};
    tr_error why = {0};
    tr_net_solution *s = tr_net_solution_new(&w->net, &options, &w->result, &why);
    if (!s && why.code == TR_NO_MEMORY) {
        tr_fail_memory(err);
    } else if (!s) {
        tr_fail(err, TR_NO_MEASURE,
                "these photos do not determine the places of the marks (%s); take more photos, "
                "from all sides and some from above, each with several marks",
                why.text);
    }
    return s;
}

static bool covariance(tr_survey_network *w, tr_error *err) {
    int n_marks = w->survey->n_marks;
    tr_net_unknown *wanted = tr_array(w->n_unknowns, sizeof *wanted);
    if (!wanted) return tr_fail_memory(err);
    for (int i = 0; i < n_marks; i++) {
        for (int k = 0; k < TR_OFFSET_N; k++) {
            wanted[TR_OFFSET_N * i + k] = (tr_net_unknown){TR_NET_OFFSET, i, k};
        }
    }
    for (int t = 0; t < n_bar_tags(w->survey); t++) {
        for (int k = 0; k < 3; k++) {
            wanted[TR_OFFSET_N * n_marks + 3 * t + k] =
                (tr_net_unknown){TR_NET_SHEET, w->survey->spec->n_sheets + t, TR_SHEET_TX + k};
        }
    }
    tr_net_solution *s = solve_once(w, err);
    bool ok = s && tr_net_solution_covariance(s, wanted, w->n_unknowns, w->covariance, err);
    tr_net_solution_free(s);
    free(wanted);
    return ok;
}

/* All lengths whose ends are seen, or the first of them. */
static void use_lengths(tr_survey_network *w, bool all) {
    bool has_one = false;
    for (int i = 0; i < w->net.n_lengths; i++) {
        bool is_seen = w->survey->lengths[i].is_used;
        w->net.lengths[i].is_used = is_seen && (all || !has_one);
        has_one |= is_seen;
    }
}

static bool solve_photos(tr_survey_network *w, tr_error *err) {
    if (!prepare(w, err)) return false;
    use_lengths(w, false);
    tr_net_solution *s = solve_once(w, err);
    tr_net_solution_free(s);
    return s != NULL;
}

bool tr_survey_network_solve(tr_survey_network *w, tr_error *err) {
    tr_network *net = &w->net;
    bool ok = false;
    double *chi2 = tr_array(net->n_observations, sizeof *chi2);
    double *scratch = tr_array(net->n_observations, sizeof *scratch);
    if (!chi2 || !scratch) {
        tr_fail_memory(err);
        goto out;
    }
    if (!solve_photos(w, err)) goto out;
    for (int round = 0; round < MAX_ROUNDS; round++) {
        /* Marks that prepare dropped, being weak, may not come back; those left out may. */
        for (int i = 0; i < net->n_observations; i++) {
            const tr_net_obs *o = &net->observations[i];
            w->is_placed[i] =
                w->is_placed[i] && w->is_seen[o->mark] && !net->rigs[o->photo].is_held;
        }
        if (tr_outliers_snoop(net, w->is_placed, chi2, scratch) == 0) break;
        if (!solve_photos(w, err)) goto out;
    }
    w->photos_variance = w->result.variance_factor;
    use_lengths(w, true);
    ok = covariance(w, err);
out:
    free(chi2);
    free(scratch);
    return ok;
}

tr_vec2 tr_survey_network_place(const tr_survey_network *w, int mark) {
    const double *d = w->net.offsets[mark].value;
    return tr_v2_add(w->base[mark].centre_mm, tr_v2(d[TR_OFFSET_X], d[TR_OFFSET_Y]));
}
