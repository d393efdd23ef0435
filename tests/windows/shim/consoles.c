/* Prints one line for each running tallywheel.exe: `window` if its console is one that can be seen, else `none`. */
#include <windows.h>
#include <stdio.h>
#include <tlhelp32.h>

int main(void) {
    HANDLE all = CreateToolhelp32Snapshot(TH32CS_SNAPPROCESS, 0);
    PROCESSENTRY32 process = {.dwSize = sizeof process};
    HANDLE out = CreateFileA("consoles.txt", GENERIC_WRITE, 0, NULL, CREATE_ALWAYS, 0, NULL);
    for (BOOL more = Process32First(all, &process); more; more = Process32Next(all, &process)) {
        if (lstrcmpiA(process.szExeFile, "tallywheel.exe")) continue;
        FreeConsole();
        BOOL seen = AttachConsole(process.th32ProcessID) && IsWindowVisible(GetConsoleWindow());
        DWORD written;
        WriteFile(out, seen ? "window\n" : "none\n", seen ? 7 : 5, &written, NULL);
    }
    return 0;
}
