/* policy idle|fifo|normal THREAD: puts a thread into a scheduling class (sched(7)); std has no call for it. */
#define _GNU_SOURCE
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int main(int count, char **words) {
    if (count != 3)
        return 2;
    int policy = !strcmp(words[1], "idle") ? SCHED_IDLE : !strcmp(words[1], "fifo") ? SCHED_FIFO : SCHED_OTHER;
    struct sched_param param = {.sched_priority = policy == SCHED_FIFO};
    if (sched_setscheduler(atoi(words[2]), policy, &param)) {
        perror("sched_setscheduler");
        return 1;
    }
    return 0;
}
