/* Which of n things are connected: union-find. Each thing has the number of one of its group, or
   its own where it stands for the group. */
#ifndef TR_BASE_GROUPS_H
#define TR_BASE_GROUPS_H

/* Each a group of its own. */
void tr_groups_init(int *group, int n);

/* The number that stands for the group of i: the smallest in it. */
int tr_group_of(int *group, int i);

void tr_groups_join(int *group, int a, int b);

#endif
