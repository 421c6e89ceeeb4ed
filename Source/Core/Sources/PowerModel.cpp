#include "Core/Sources/PowerModel.h"

namespace spillwright {

double divergence(const Eigen::ArrayXf& of, const Eigen::ArrayXf& from) {
    return static_cast<double>((of * (of / from).log() - of + from).sum());
}

PowerSum sumOfParts(const Eigen::MatrixXf& parts, const Eigen::ArrayXf& wanted, int updates) {
    Eigen::VectorXf weights = Eigen::VectorXf::Constant(parts.cols(), 1.0f / static_cast<float>(parts.cols()));
    const Eigen::ArrayXf sums = parts.colwise().sum().transpose();
    Eigen::VectorXf sum = parts * weights;
    for (int update = 0; update < updates; ++update) {
        weights.array() *= (parts.transpose() * (wanted / sum.array()).matrix()).array() / sums;
        sum.noalias() = parts * weights;
    }
    return {weights.array() * sums, sum.array()};
}

} // namespace spillwright
