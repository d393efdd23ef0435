/* steps THREAD COUNT: lets a thread run instruction by instruction and prints where each one is, in hexadecimal. */
#include <stdio.h>
#include <stdlib.h>
#include <sys/ptrace.h>
#include <sys/user.h>
#include <sys/wait.h>

int main(int count, char **words) {
    if (count != 3)
        return 2;
    int thread = atoi(words[1]), status;
    if (ptrace(PTRACE_SEIZE, thread, 0, 0) || ptrace(PTRACE_INTERRUPT, thread, 0, 0)) {
        perror("ptrace");
        return 1;
    }
    if (waitpid(thread, &status, __WALL) < 0)
        return 1;
    for (long left = atol(words[2]); left > 0; left--) {
        struct user_regs_struct registers;
        if (ptrace(PTRACE_GETREGS, thread, 0, &registers))
            return 1;
        printf("%llx\n", registers.rip);
        if (ptrace(PTRACE_SINGLESTEP, thread, 0, 0) || waitpid(thread, &status, __WALL) < 0 || !WIFSTOPPED(status))
            return 1;
    }
    return 0;
}
