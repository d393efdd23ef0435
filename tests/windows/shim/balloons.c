/* Watches the desktop that it is started in: writes a line to balloons.txt whenever a message of the notification area
 * appears, with its place and its text, or a menu does. UTF-8; a text's own lines are parted by " / ".
 *   balloon LEFT TOP RIGHT BOTTOM TEXT
 *   menu
 * The messages of Wine's notification area are tooltips of the balloon style; WM_GETTEXT answers with their text,
 * without the title. */
#include <windows.h>
#include <commctrl.h>
#include <stdio.h>

static FILE *out;

static BOOL CALLBACK look(HWND window, LPARAM found) {
    WCHAR class[32];
    if (!GetClassNameW(window, class, 32) || lstrcmpW(class, TOOLTIPS_CLASSW)) return TRUE;
    if (!IsWindowVisible(window) || !(GetWindowLongW(window, GWL_STYLE) & TTS_BALLOON)) return TRUE;
    *(HWND *)found = window;
    return FALSE;
}

static void tell(HWND window) {
    WCHAR text[512] = {0};
    char bytes[2048];
    DWORD_PTR length;
    RECT at;
    SendMessageTimeoutW(window, WM_GETTEXT, 512, (LPARAM)text, SMTO_ABORTIFHUNG, 2000, &length);
    GetWindowRect(window, &at);
    WideCharToMultiByte(CP_UTF8, 0, text, -1, bytes, sizeof bytes, NULL, NULL);
    fprintf(out, "balloon %ld %ld %ld %ld ", at.left, at.top, at.right, at.bottom);
    for (char *byte = bytes; *byte; byte++) *byte == '\n' ? fputs(" / ", out) : fputc(*byte, out);
    fputc('\n', out);
    fflush(out);
}

int main(void) {
    HWND balloon = NULL, menu = NULL;
    out = fopen("balloons.txt", "wb");
    for (;; Sleep(50)) {
        HWND shown = NULL, opened = FindWindowW(L"#32768", NULL);
        EnumWindows(look, (LPARAM)&shown);
        if (shown && shown != balloon) tell(shown);
        balloon = shown;
        if (!IsWindowVisible(opened)) opened = NULL;
        if (opened && opened != menu) fputs("menu\n", out), fflush(out);
        menu = opened;
    }
}
