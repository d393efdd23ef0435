/* A DLL for tests under Wine 8 only, loaded in place of bcryptprimitives.dll. No part of what is shipped.
 *
 * 1. It has ProcessPrng, which the standard library of Rust imports from that DLL and Wine 8 does not have.
 * 2. Wine's lists of device interfaces (CM_Get_Device_Interface_List) are stubs; here they answer from setupapi.
 * 3. Wine's answer where an icon of the notification area is (Shell_NotifyIconGetRect) is a stub; here it is where the
 *    pointer is, which has just clicked it.
 * 4. It adds one HID board to the program that loads it, so that hidapi, unchanged, finds, opens and reads it:
 *      FAKE_HID=PORT,VENDOR,PRODUCT,LENGTH   ids in hexadecimal, LENGTH bytes of data in an input report
 *    The board obeys datagrams to 127.0.0.1:PORT:
 *      R and the report's bytes, its number first, 0 for none;   U unplugs the board, P plugs it in
 *    and answers each with the same letter when it is done.
 *
 * All of it is done by changing addresses in the program's import table when the DLL is loaded. The reports go
 * through a named pipe, because a pipe can be waited for as a device can. */
#include <winsock2.h>
#include <windows.h>
#include <cfgmgr32.h>
#include <hidsdi.h>
#include <hidpi.h>
#include <setupapi.h>
#include <shellapi.h>
#include <stdio.h>

BOOLEAN NTAPI SystemFunction036(PVOID, ULONG); /* RtlGenRandom */

__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE bytes, SIZE_T length) {
    while (length) {
        ULONG part = length > 0x10000000 ? 0x10000000 : (ULONG)length;
        if (!SystemFunction036(bytes, part)) return FALSE;
        bytes += part;
        length -= part;
    }
    return TRUE;
}

/* The board. */

#define HANDLES_MAX 64
#define REPORT_MAX 512

static int port, vendor, product, data_length;
static BOOL plugged = TRUE;
static WCHAR path[128];
static CRITICAL_SECTION lock;
/* Every handle that the program has on the board, and the pipe's end that feeds it; none for a mere query. */
static struct { HANDLE given, feeder; } handles[HANDLES_MAX];

static HANDLE(WINAPI *real_CreateFileW)(LPCWSTR, DWORD, DWORD, LPSECURITY_ATTRIBUTES, DWORD, DWORD, HANDLE);
static BOOL(WINAPI *real_CloseHandle)(HANDLE);

static BOOL is_board(HANDLE handle) {
    BOOL found = FALSE;
    EnterCriticalSection(&lock);
    for (int i = 0; i < HANDLES_MAX; i++) found |= handles[i].given && handles[i].given == handle;
    LeaveCriticalSection(&lock);
    return found;
}

static void remember(HANDLE given, HANDLE feeder) {
    EnterCriticalSection(&lock);
    for (int i = 0; i < HANDLES_MAX; i++)
        if (!handles[i].given) {
            handles[i].given = given;
            handles[i].feeder = feeder;
            break;
        }
    LeaveCriticalSection(&lock);
}

static HANDLE WINAPI fake_CreateFileW(LPCWSTR name, DWORD access, DWORD share, LPSECURITY_ATTRIBUTES security,
                                      DWORD disposition, DWORD flags, HANDLE template) {
    if (!port || lstrcmpiW(name, path))
        return real_CreateFileW(name, access, share, security, disposition, flags, template);
    if (!plugged) {
        SetLastError(ERROR_FILE_NOT_FOUND);
        return INVALID_HANDLE_VALUE;
    }
    if (!access) {
        HANDLE query = CreateEventW(NULL, FALSE, FALSE, NULL);
        remember(query, NULL);
        return query;
    }
    static LONG opened;
    WCHAR pipe[80];
    wsprintfW(pipe, L"\\\\.\\pipe\\board-%d-%d", GetCurrentProcessId(), InterlockedIncrement(&opened));
    HANDLE feeder = CreateNamedPipeW(pipe, PIPE_ACCESS_DUPLEX, PIPE_TYPE_MESSAGE | PIPE_READMODE_MESSAGE | PIPE_NOWAIT,
                                     1, 65536, 65536, 0, NULL);
    HANDLE given = real_CreateFileW(pipe, access, share, security, disposition, flags, template);
    DWORD mode = PIPE_READMODE_MESSAGE;
    SetNamedPipeHandleState(given, &mode, NULL, NULL);
    remember(given, feeder);
    return given;
}

static BOOL WINAPI fake_CloseHandle(HANDLE handle) {
    if (handle) {
        EnterCriticalSection(&lock);
        for (int i = 0; i < HANDLES_MAX; i++)
            if (handles[i].given == handle) {
                if (handles[i].feeder) real_CloseHandle(handles[i].feeder);
                handles[i].given = handles[i].feeder = NULL;
            }
        LeaveCriticalSection(&lock);
    }
    return real_CloseHandle(handle);
}

static void unplug(void) {
    plugged = FALSE;
    for (int i = 0; i < HANDLES_MAX; i++)
        if (handles[i].feeder) {
            DisconnectNamedPipe(handles[i].feeder);
            real_CloseHandle(handles[i].feeder);
            handles[i].feeder = NULL;
        }
}

/* Windows hands out every report in the length of the longest one, with its number in front. */
static void send_report(const char *bytes, int length) {
    char report[REPORT_MAX] = {0};
    memcpy(report, bytes, length);
    for (int i = 0; i < HANDLES_MAX; i++) {
        DWORD written;
        if (handles[i].feeder) WriteFile(handles[i].feeder, report, data_length + 1, &written, NULL);
    }
}

__attribute__((noreturn)) static DWORD WINAPI obey(LPVOID unused) {
    WSADATA data;
    WSAStartup(0x202, &data);
    SOCKET commands = socket(AF_INET, SOCK_DGRAM, 0);
    struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons(port)};
    at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    /* A program that this one starts would keep the port for ever. */
    SetHandleInformation((HANDLE)commands, HANDLE_FLAG_INHERIT, 0);
    /* A program that was started by one that is about to end waits for its port. */
    while (bind(commands, (void *)&at, sizeof at)) Sleep(20);
    for (;;) {
        char command[REPORT_MAX];
        struct sockaddr_in from;
        int size = sizeof from, length = recvfrom(commands, command, sizeof command, 0, (void *)&from, &size);
        if (length < 1) continue;
        EnterCriticalSection(&lock);
        if (command[0] == 'P') plugged = TRUE;
        if (command[0] == 'U') unplug();
        if (command[0] == 'R' && plugged) send_report(command + 1, length - 1);
        LeaveCriticalSection(&lock);
        sendto(commands, command, 1, 0, (void *)&from, size);
    }
}

/* What hidapi asks of setupapi, cfgmgr32 and hid. */

/* Writes all paths as one list of strings, an empty one last; answers how long it is. */
static ULONG list(const GUID *class, WCHAR *out, ULONG room) {
    ULONG used = 0;
    HDEVINFO devices = SetupDiGetClassDevsW(class, NULL, NULL, DIGCF_DEVICEINTERFACE | DIGCF_PRESENT);
    if (devices != INVALID_HANDLE_VALUE) {
        SP_DEVICE_INTERFACE_DATA device = {.cbSize = sizeof device};
        char buffer[4096];
        PSP_DEVICE_INTERFACE_DETAIL_DATA_W detail = (void *)buffer;
        for (DWORD i = 0; SetupDiEnumDeviceInterfaces(devices, NULL, class, i, &device); i++) {
            detail->cbSize = sizeof *detail;
            if (!SetupDiGetDeviceInterfaceDetailW(devices, &device, detail, sizeof buffer, NULL, NULL)) continue;
            ULONG length = lstrlenW(detail->DevicePath) + 1;
            if (out && used + length < room) memcpy(out + used, detail->DevicePath, length * sizeof(WCHAR));
            used += length;
        }
        SetupDiDestroyDeviceInfoList(devices);
    }
    if (port && plugged) {
        ULONG length = lstrlenW(path) + 1;
        if (out && used + length < room) memcpy(out + used, path, length * sizeof(WCHAR));
        used += length;
    }
    if (out && used < room) out[used] = 0;
    return used + 1;
}

static CONFIGRET WINAPI fake_List_Size(PULONG length, LPGUID class, DEVINSTID_W id, ULONG flags) {
    *length = list(class, NULL, 0);
    return CR_SUCCESS;
}

static CONFIGRET WINAPI fake_List(LPGUID class, DEVINSTID_W id, PZZWSTR out, ULONG room, ULONG flags) {
    return list(class, out, room) > room ? CR_BUFFER_SMALL : CR_SUCCESS;
}

static CONFIGRET WINAPI fake_Property(void) { return CR_FAILURE; }

static BOOLEAN(WINAPI *real_Attributes)(HANDLE, PHIDD_ATTRIBUTES);
static BOOLEAN WINAPI fake_Attributes(HANDLE handle, PHIDD_ATTRIBUTES attributes) {
    if (!is_board(handle)) return real_Attributes(handle, attributes);
    attributes->VendorID = vendor;
    attributes->ProductID = product;
    attributes->VersionNumber = 0x100;
    return TRUE;
}

/* All zeros, which hidapi cannot make a report descriptor of. */
static char preparsed[256];
static BOOLEAN(WINAPI *real_GetPreparsed)(HANDLE, PHIDP_PREPARSED_DATA *);
static BOOLEAN WINAPI fake_GetPreparsed(HANDLE handle, PHIDP_PREPARSED_DATA *data) {
    if (!is_board(handle)) return real_GetPreparsed(handle, data);
    *data = (void *)preparsed;
    return TRUE;
}

static BOOLEAN(WINAPI *real_FreePreparsed)(PHIDP_PREPARSED_DATA);
static BOOLEAN WINAPI fake_FreePreparsed(PHIDP_PREPARSED_DATA data) {
    return (void *)data == preparsed ? TRUE : real_FreePreparsed(data);
}

static NTSTATUS(WINAPI *real_Caps)(PHIDP_PREPARSED_DATA, PHIDP_CAPS);
static NTSTATUS WINAPI fake_Caps(PHIDP_PREPARSED_DATA data, PHIDP_CAPS caps) {
    if ((void *)data != preparsed) return real_Caps(data, caps);
    memset(caps, 0, sizeof *caps);
    caps->UsagePage = 1;
    caps->Usage = 4; /* joystick */
    caps->InputReportByteLength = data_length + 1;
    return HIDP_STATUS_SUCCESS;
}

static BOOLEAN(WINAPI *real_Buffers)(HANDLE, ULONG);
static BOOLEAN WINAPI fake_Buffers(HANDLE handle, ULONG number) {
    return is_board(handle) ? TRUE : real_Buffers(handle, number);
}

#define TEXT_OF(what, text)                                                              \
    static BOOLEAN(WINAPI *real_##what)(HANDLE, PVOID, ULONG);                           \
    static BOOLEAN WINAPI fake_##what(HANDLE handle, PVOID out, ULONG room) {            \
        if (!is_board(handle)) return real_##what(handle, out, room);                    \
        if (room < sizeof(text)) return FALSE;                                           \
        memcpy(out, text, sizeof(text));                                                 \
        return TRUE;                                                                     \
    }
TEXT_OF(Maker, L"Bench maker")
TEXT_OF(Name, L"Bench 32")
TEXT_OF(Serial, L"TW-1")

static HRESULT WINAPI fake_IconRect(const NOTIFYICONIDENTIFIER *icon, RECT *place) {
    POINT pointer;
    GetCursorPos(&pointer);
    SetRect(place, pointer.x - 8, pointer.y - 8, pointer.x + 8, pointer.y + 8);
    return S_OK;
}

static struct {
    const char *name;
    void *fake, **real;
} hooks[] = {
    {"CreateFileW", fake_CreateFileW, (void **)&real_CreateFileW},
    {"CloseHandle", fake_CloseHandle, (void **)&real_CloseHandle},
    {"CM_Get_Device_Interface_List_SizeW", fake_List_Size, NULL},
    {"CM_Get_Device_Interface_ListW", fake_List, NULL},
    {"CM_Get_Device_Interface_PropertyW", fake_Property, NULL},
    {"Shell_NotifyIconGetRect", fake_IconRect, NULL},
    {"HidD_GetAttributes", fake_Attributes, (void **)&real_Attributes},
    {"HidD_GetPreparsedData", fake_GetPreparsed, (void **)&real_GetPreparsed},
    {"HidD_FreePreparsedData", fake_FreePreparsed, (void **)&real_FreePreparsed},
    {"HidP_GetCaps", fake_Caps, (void **)&real_Caps},
    {"HidD_SetNumInputBuffers", fake_Buffers, (void **)&real_Buffers},
    {"HidD_GetManufacturerString", fake_Maker, (void **)&real_Maker},
    {"HidD_GetProductString", fake_Name, (void **)&real_Name},
    {"HidD_GetSerialNumberString", fake_Serial, (void **)&real_Serial},
};

/* Puts the fakes into the import table of the program (PE format: IMAGE_IMPORT_DESCRIPTOR). */
static void hook(void) {
    BYTE *base = (BYTE *)GetModuleHandleW(NULL);
    IMAGE_NT_HEADERS *headers = (void *)(base + ((IMAGE_DOS_HEADER *)base)->e_lfanew);
    DWORD imports = headers->OptionalHeader.DataDirectory[IMAGE_DIRECTORY_ENTRY_IMPORT].VirtualAddress;
    if (!imports) return;
    for (IMAGE_IMPORT_DESCRIPTOR *dll = (void *)(base + imports); dll->Name; dll++) {
        if (!dll->OriginalFirstThunk) continue;
        ULONGLONG *name = (void *)(base + dll->OriginalFirstThunk), *address = (void *)(base + dll->FirstThunk);
        for (; *name; name++, address++) {
            if (*name >> 63) continue; /* by number */
            for (unsigned i = 0; i < sizeof hooks / sizeof *hooks; i++)
                if (!strcmp((char *)(base + *name + 2), hooks[i].name)) {
                    DWORD old;
                    VirtualProtect(address, sizeof *address, PAGE_READWRITE, &old);
                    if (hooks[i].real && !*hooks[i].real) *hooks[i].real = (void *)*address;
                    *address = (ULONGLONG)hooks[i].fake;
                    VirtualProtect(address, sizeof *address, old, &old);
                }
        }
    }
}

BOOL WINAPI DllMain(HINSTANCE self, DWORD reason, LPVOID unused) {
    if (reason != DLL_PROCESS_ATTACH) return TRUE;
    DisableThreadLibraryCalls(self);
    InitializeCriticalSection(&lock);
    real_CreateFileW = CreateFileW;
    real_CloseHandle = CloseHandle;
    char asked[64];
    if (GetEnvironmentVariableA("FAKE_HID", asked, sizeof asked) &&
        sscanf(asked, "%d,%x,%x,%d", &port, &vendor, &product, &data_length) == 4 && data_length < REPORT_MAX) {
        /* The class is GUID_DEVINTERFACE_HID. */
        wsprintfW(path, L"\\\\?\\hid#vid_%04x&pid_%04x#7&1&0&0000#{4d1e55b2-f16f-11cf-88cb-001111000030}", vendor, product);
        CreateThread(NULL, 0, obey, NULL, 0, NULL);
    }
    hook();
    return TRUE;
}
