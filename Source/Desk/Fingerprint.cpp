#include "Desk/Fingerprint.h"

#include <cstdint>
#include <cstdio>

namespace spillwright::desk {

std::string fingerprint(std::string_view bytes) {
    std::uint64_t hash = 0xcbf29ce484222325ull;
    for (const char byte : bytes)
        hash = (hash ^ static_cast<unsigned char>(byte)) * 0x100000001b3ull;
    char text[17];
    std::snprintf(text, sizeof text, "%016llx", static_cast<unsigned long long>(hash));
    return text;
}

std::string nameForFolder(const std::filesystem::path& folder) {
    std::error_code ignored;
    return folder.filename().string() + " " + fingerprint(std::filesystem::weakly_canonical(folder, ignored).string());
}

} // namespace spillwright::desk
