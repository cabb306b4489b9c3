/* What the program is told: which joint it is, and what its simulated world is made of. */
#ifndef OPTIONS_H
#define OPTIONS_H

#include <stdbool.h>
#include <stdint.h>

#include "numbers.h"
#include "keys.h"

#define OPTIONS_FOLLOWS_MAX 8

struct options {
    uint8_t id[UJ_JOINT_ID_BYTES];
    char id_text[2 * UJ_JOINT_ID_BYTES + 1];
    const char *name;
    const char *key;       /* the file arm.key */
    const char *interface; /* IPv4 address */
    const char *service;   /* such as _unisono-joint._tcp */
    const char *truth;     /* file, or null */
    double stream_port;    /* TCP; 0 for a free one */
    const char *updates;    /* folder for firmware that comes, and who runs; null: it takes none */
    const char *board;      /* that images are for */
    bool has_update_key;
    uint8_t update_key[UJ_KEY_BYTES]; /* that signs them, the public half */
    double cut_update;      /* for tests: the power goes at this step on the disk; 0 never */
    double with_parent;    /* process that started it: it dies with that one and leaves Ctrl-C to it; 0 for none */
    /* The clock. */
    double uptime_us; /* joint time at the start */
    double skew_ppm;
    /* Motor and home sensor; true counts. */
    double start;
    double home_centre;
    double home_half_width;
    double home_hysteresis; /* it goes off so much later than it comes on */
    double home_noise;      /* one standard deviation by which its edges lie elsewhere at every step */
    double home_period;     /* after which the magnet comes again, 0 for never */
    double play;            /* between motor and output */
    double max_step_rate_hz;
    double no_idle_current; /* 1: it cannot reduce its current */
    /* Inputs, outputs; input follows[i][0] shows what output follows[i][1] is set to, a moment later. */
    double inputs;
    double outputs;
    uint8_t follows[OPTIONS_FOLLOWS_MAX][2];
    unsigned follows_count;
    /* Heat and supply. */
    double ambient_c;
    double source_v;
    double hop_ohm;
    double winding_ohm;
    double idle_watts;
    double rssi_dbm;
};

/* Reads the command line. What is wrong with it is told on standard error, and the process ends with code 2; asked
 * for --help, it ends with code 0. */
void options_read(struct options *options, int count, char **words);

#endif
