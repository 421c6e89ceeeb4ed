#include "Core/Workers.h"

#include <catch2/catch.hpp>

#include <atomic>
#include <chrono>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

using namespace spillwright;

TEST_CASE("workers do every item once, whatever their number") {
    for (int count : {1, 2, 5}) {
        Workers workers(count);
        CHECK(workers.count() == count);
        for (std::size_t items : {std::size_t(0), std::size_t(1), std::size_t(1000)}) {
            std::vector<std::atomic<int>> done(items);
            std::atomic<bool> knownWorkers{true};
            workers.forEach(items, [&](std::size_t item, int worker) {
                ++done[item];
                if (worker < 0 || worker >= count) knownWorkers = false;
            });
            CHECK(knownWorkers);
            bool once = true;
            for (auto& times : done)
                once = once && times == 1;
            CHECK(once);
        }
    }
}

TEST_CASE("what work throws is thrown when all is done, that of the lowest item, and the workers go on") {
    for (int count : {1, 2, 5}) {
        Workers workers(count);
        std::atomic<int> done{0};
        std::string said;
        try {
            workers.forEach(100, [&](std::size_t item, int) {
                ++done;
                if (item % 30 == 7) throw std::runtime_error(std::to_string(item));
            });
        } catch (const std::runtime_error& error) {
            said = error.what();
        }
        CHECK(said == "7");
        CHECK(done == 100);
        workers.forEach(10, [&](std::size_t, int) { ++done; });
        CHECK(done == 110);
    }
    Workers two(2);
    std::atomic<bool> higherDone{false};
    CHECK_THROWS_WITH(two.forEach(2,
                                  [&](std::size_t item, int) {
                                      if (item == 1) higherDone = true;
                                      while (!higherDone)
                                          std::this_thread::yield();
                                      if (item == 0) std::this_thread::sleep_for(std::chrono::milliseconds(20));
                                      throw std::runtime_error(std::to_string(item));
                                  }),
                      "0");
}
