#include "Fuzz/Targets.h"

#include <cstdio>
#include <cstdlib>
#include <fstream>

#include <unistd.h>

namespace spillwright::fuzz {

namespace fs = std::filesystem;

void require(bool kept, const char* promise) {
    if (kept) return;
    std::fprintf(stderr, "a promise is broken: %s\n", promise);
    std::abort();
}

const fs::path& sandbox() {
    struct Sandbox {
        Sandbox() {
            std::error_code ignored;
            const fs::path memory("/dev/shm");
            auto name =
                ((fs::is_directory(memory, ignored) ? memory : fs::temp_directory_path()) / "fuzz-XXXXXX").string();
            require(mkdtemp(name.data()) != nullptr, "a temporary folder can be made");
            path = name;
        }
        ~Sandbox() {
            std::error_code ignored;
            fs::remove_all(path, ignored);
        }
        fs::path path;
    };
    static const Sandbox made;
    return made.path;
}

void write(const fs::path& file, Bytes bytes) {
    std::ofstream(file, std::ios::binary)
        .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
}

} // namespace spillwright::fuzz
