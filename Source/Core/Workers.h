#pragma once

#include <cstddef>
#include <functional>
#include <memory>
#include <stop_token>

namespace spillwright {

/// Worker threads that are handed in to whatever may use them. The calling thread works too, so count() == 1 starts
/// none.
class Workers {
public:
    /// 0: one a processor core.
    explicit Workers(int count = 0);
    ~Workers();
    Workers(const Workers&) = delete;
    Workers& operator=(const Workers&) = delete;

    int count() const;

    /// Calls work(item, worker) once for each item in 0..items-1, worker in 0..count()-1, and returns when all are
    /// done. Which worker takes which item is not determined: results must not depend on it. What work throws is thrown
    /// once all are done, that of the lowest item. work must not call forEach of the same Workers. One forEach at a
    /// time.
    void forEach(std::size_t items, const std::function<void(std::size_t item, int worker)>& work);

private:
    struct Pool;
    std::unique_ptr<Pool> pool;
};

/// How long work tells of its progress and is told to stop.
struct Watch {
    std::function<void(double done)> progress; ///< 0..1, called from the thread that called the work; may be empty.
    std::stop_token stop;

    void tell(double fraction) const {
        if (progress) progress(fraction);
    }
    bool stopped() const { return stop.stop_requested(); }
};

} // namespace spillwright
