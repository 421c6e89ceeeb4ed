#include "Session/SharedData.h"

#include <system_error>

#if defined(_WIN32)
#include <string>
#include <windows.h>
#elif defined(__APPLE__)
#include <cstdint>
#include <mach-o/dyld.h>
#include <string>
#endif

namespace spillwright {

namespace fs = std::filesystem;

namespace {

/// The file of the running program; empty where the system does not tell.
fs::path runningProgram() {
    std::error_code error;
#if defined(_WIN32)
    std::wstring path(32768, L'\0'); // the longest that Windows has
    path.resize(GetModuleFileNameW(nullptr, path.data(), static_cast<DWORD>(path.size())));
    return path;
#elif defined(__APPLE__)
    std::uint32_t size = 0;
    _NSGetExecutablePath(nullptr, &size);
    std::string path(size, '\0');
    if (_NSGetExecutablePath(path.data(), &size) != 0) return {};
    return fs::canonical(path.c_str(), error);
#else
    return fs::read_symlink("/proc/self/exe", error);
#endif
}

} // namespace

fs::path sharedData(const fs::path& name) {
    return sharedData(name, runningProgram().parent_path());
}

fs::path sharedData(const fs::path& name, const fs::path& programs) {
    std::error_code error;
    for (auto folder = programs; !folder.empty(); folder = folder.parent_path()) {
        auto found = folder / SPILLWRIGHT_SHARED_DATA / name;
        if (fs::is_directory(found, error)) return found;
        if (folder == folder.root_path()) break;
    }
    return {};
}

} // namespace spillwright
