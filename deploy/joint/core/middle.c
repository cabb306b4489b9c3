#include "middle.h"

#include "whole.h"

int64_t uj_middle(int64_t rising, int64_t falling)
{
    return uj_floor_div(rising + falling + 1, 2);
}

int64_t uj_middle_shift(int64_t middle, int64_t home)
{
    return home - middle;
}

int64_t uj_middle_lost(int64_t shift, int64_t counts_per_turn)
{
    const int64_t half = counts_per_turn / 2;
    const int64_t raised = shift + half;
    return raised - uj_floor_div(raised, counts_per_turn) * counts_per_turn - half;
}
