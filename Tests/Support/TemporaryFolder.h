#pragma once

#include <atomic>
#include <filesystem>
#include <string>

#ifdef _WIN32
#include <process.h>
#define SPILLWRIGHT_TEST_PID _getpid()
#else
#include <unistd.h>
#define SPILLWRIGHT_TEST_PID getpid()
#endif

namespace spillwright::test {

/// An empty folder that is gone when the test ends.
class TemporaryFolder {
public:
    TemporaryFolder() {
        static std::atomic<int> count{0};
        folder = std::filesystem::temp_directory_path() /
                 ("spillwright test " + std::to_string(SPILLWRIGHT_TEST_PID) + "." + std::to_string(++count));
        std::filesystem::create_directories(folder);
    }
    ~TemporaryFolder() {
        std::error_code ignored;
        std::filesystem::remove_all(folder, ignored);
    }
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;

    const std::filesystem::path& path() const { return folder; }
    std::filesystem::path operator/(const std::string& name) const { return folder / name; }

private:
    std::filesystem::path folder;
};

} // namespace spillwright::test
