#include "base/groups.h"

void tr_groups_init(int *group, int n) {
    for (int i = 0; i < n; i++) group[i] = i;
}

int tr_group_of(int *group, int i) {
    while (group[i] != i) {
        group[i] = group[group[i]];
        i = group[i];
    }
    return i;
}

void tr_groups_join(int *group, int a, int b) {
    a = tr_group_of(group, a);
    b = tr_group_of(group, b);
    group[a < b ? b : a] = a < b ? a : b;
}
